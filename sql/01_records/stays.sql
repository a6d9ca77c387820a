-- Grain: an accepted placement.
-- Inputs: accepted_placements, accepted_exits.
--         $next_ends: another queen placed there ends a stay of which nobody wrote the end.
-- Units: days are dates; last_on is the last day she can have been there (NULL: no end known).
--        alone: no other stay in that colony shares a day with this one.
WITH left_after AS (
    SELECT p.ref, min(e.left_on) AS left_on
    FROM accepted_placements AS p
    JOIN accepted_exits AS e ON e.queen_id = p.queen_id AND e.left_on >= p.placed_on
    GROUP BY p.ref
), followed AS (
    SELECT p.ref, min(n.placed_on) - 1 AS last_on
    FROM accepted_placements AS p
    JOIN accepted_placements AS n
        ON n.colony_id = p.colony_id AND n.queen_id <> p.queen_id AND n.placed_on > p.placed_on
    WHERE $next_ends
    GROUP BY p.ref
), ended AS (
    SELECT
        p.ref, p.colony_id, p.queen_id, p.placed_on,
        -- least() passes over a NULL
        least(coalesce(p.removed_on, f.last_on), l.left_on) AS last_on
    FROM accepted_placements AS p
    LEFT JOIN left_after AS l ON l.ref = p.ref
    LEFT JOIN followed AS f ON f.ref = p.ref
), beside AS (
    SELECT
        *,
        max(coalesce(last_on, DATE 'infinity')) OVER (
            PARTITION BY colony_id ORDER BY placed_on, ref
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        ) AS latest_before,
        lead(placed_on) OVER (PARTITION BY colony_id ORDER BY placed_on, ref) AS next_on
    FROM ended
)
SELECT
    ref, colony_id, queen_id, placed_on, last_on,
    coalesce(latest_before < placed_on, true)
    AND coalesce(next_on > coalesce(last_on, DATE 'infinity'), next_on IS NULL) AS alone
FROM beside
ORDER BY ref
