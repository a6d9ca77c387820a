-- Grain: a check, up to the as-of day, whose colony has to be asked for its queen:
--        it names none, or the one it names was not plainly there. Repeats included.
-- Inputs: staged_checks, stays.
-- Units: queens is 0, 1, or 2 for "two or more"; queen_id only where it is 1.
WITH asked AS (
    SELECT c.ref, c.queen_id AS own_id, c.colony_id, c.checked_on
    FROM staged_checks AS c
    WHERE c.colony_id IS NOT NULL AND c.checked_on <= $as_of
        AND NOT EXISTS (
            SELECT * FROM stays AS s
            WHERE s.alone AND s.queen_id = c.queen_id AND s.colony_id = c.colony_id
                AND c.checked_on BETWEEN s.placed_on AND coalesce(s.last_on, DATE 'infinity')
        )
), plain AS (
    SELECT a.ref, s.queen_id
    FROM asked AS a
    JOIN stays AS s
        ON s.alone AND s.colony_id = a.colony_id
        AND a.checked_on BETWEEN s.placed_on AND coalesce(s.last_on, DATE 'infinity')
), crowded AS (
    SELECT
        a.ref,
        min(s.queen_id) AS first_queen, max(s.queen_id) AS last_queen,
        min(s.queen_id) FILTER (s.placed_on = a.checked_on) AS first_new,
        max(s.queen_id) FILTER (s.placed_on = a.checked_on) AS last_new
    FROM asked AS a
    JOIN stays AS s
        ON NOT s.alone AND s.colony_id = a.colony_id
        AND a.checked_on BETWEEN s.placed_on AND coalesce(s.last_on, DATE 'infinity')
    GROUP BY a.ref
)
SELECT
    a.ref, a.own_id, a.colony_id, a.checked_on,
    -- the one placed that very day has the check; else the only one there
    CASE
        WHEN p.ref IS NOT NULL THEN p.queen_id
        WHEN c.first_new = c.last_new THEN c.first_new
        WHEN c.first_queen = c.last_queen THEN c.first_queen
    END AS queen_id,
    CASE
        WHEN p.ref IS NOT NULL THEN 1
        WHEN c.first_queen IS NULL THEN 0
        WHEN c.first_new = c.last_new OR c.first_queen = c.last_queen THEN 1
        ELSE 2
    END AS queens
FROM asked AS a
LEFT JOIN plain AS p ON p.ref = a.ref
LEFT JOIN crowded AS c ON c.ref = a.ref
