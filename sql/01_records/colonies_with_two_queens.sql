-- Grain: a check of a colony in which two queens or more were placed that day.
-- Inputs: colony_checks, stays.
-- Units: queens names them all, with the days they were placed.
WITH days AS (
    SELECT DISTINCT colony_id, checked_on
    FROM colony_checks
    WHERE own_id IS NULL AND queens = 2
), there AS (
    SELECT d.colony_id, d.checked_on, s.queen_id, min(s.placed_on) AS placed_on
    FROM days AS d
    JOIN stays AS s
        ON s.colony_id = d.colony_id AND s.placed_on <= d.checked_on
        AND (s.last_on IS NULL OR s.last_on >= d.checked_on)
    GROUP BY ALL
), named AS (
    SELECT colony_id, checked_on, string_agg(
        queen_id || ' (placed ' || placed_on || ')', ' and ' ORDER BY placed_on, queen_id
    ) AS queens
    FROM there
    GROUP BY ALL
)
SELECT c.ref, c.colony_id, c.checked_on, n.queens
FROM colony_checks AS c
JOIN named AS n USING (colony_id, checked_on)
WHERE c.own_id IS NULL AND c.queens = 2
