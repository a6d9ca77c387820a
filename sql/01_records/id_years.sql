-- Grain: a queen's id that stands for two queens, it seems: she emerged twice, or was
--   inseminated anew, half a year or more later.
-- Inputs: staged_queens, staged_inseminations.
-- Parameters: apart_days (as many days between two seasons at least).
-- Units: kind (emerged or inseminated); earlier, later: the two days; ref, later_ref: where
--   they stand; of several pairs the first.
WITH dated AS (
    SELECT queen_id, 'emerged' AS kind, emerged_on AS day, ref FROM staged_queens
    UNION ALL
    SELECT queen_id, 'emerged', emerged_on, ref FROM staged_inseminations
    UNION ALL
    SELECT queen_id, 'inseminated', CAST(inseminated_at AS DATE), ref
    FROM staged_inseminations
), stepped AS (
    SELECT
        queen_id, kind, day AS later, ref AS later_ref,
        lag(day) OVER by_day AS earlier, lag(ref) OVER by_day AS ref
    FROM dated
    WHERE queen_id IS NOT NULL AND day IS NOT NULL
    WINDOW by_day AS (PARTITION BY queen_id, kind ORDER BY day, ref)
)
SELECT queen_id, kind, earlier, later, ref, later_ref
FROM stepped
WHERE later - earlier >= $apart_days
QUALIFY row_number() OVER (PARTITION BY queen_id, kind ORDER BY later, later_ref) = 1
ORDER BY kind, queen_id
