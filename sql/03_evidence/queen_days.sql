-- grain: one queen and day on which her colony was looked into, up to the as-of day.
-- inputs: linked_checks, courses (only queens that were inseminated). Parameter: as_of.
-- Checks of one day are merged field by field: yes beats no beats empty, many beats few
-- beats none, the higher pattern_pct. A scored pattern above 0, or drone brood, says that
-- sealed brood was there. mark_seen counts only where the queen was seen.
-- ref: the day's first row; refs: all of them where there are several, else null.
WITH merged AS (
    SELECT
        queens.queen_no,
        checked_on,
        min(ref) AS ref,
        CASE WHEN count(*) > 1 THEN list(ref ORDER BY ref) END AS refs,
        bool_or(queen_seen) AS queen_seen,
        bool_or(mark_seen) AS mark_seen,
        bool_or(eggs) AS eggs,
        bool_or(larvae) AS larvae,
        bool_or(sealed) AS sealed,
        bool_or(brood_given) AS brood_given,
        bool_or(multiple_eggs) AS multiple_eggs,
        max(pattern_pct) AS pattern_pct,
        max(
            CASE drone_in_worker WHEN 'none' THEN 0 WHEN 'few' THEN 1 WHEN 'many' THEN 2 END
        ) AS drone_rank
    FROM linked_checks
    INNER JOIN (SELECT DISTINCT queen_id, queen_no FROM courses) AS queens USING (queen_id)
    WHERE checked_on <= $as_of
    GROUP BY queens.queen_no, checked_on
)

SELECT
    queen_no,
    checked_on,
    ref,
    refs,
    queen_seen,
    CASE WHEN queen_seen THEN mark_seen END AS mark_seen,
    eggs,
    larvae,
    CASE WHEN pattern_pct > 0 OR drone_rank >= 1 THEN true ELSE sealed END AS sealed,
    coalesce(brood_given, false) AS brood_given,
    coalesce(multiple_eggs, false) AS multiple_eggs,
    pattern_pct,
    drone_rank,
    coalesce(sealed = false AND (pattern_pct > 0 OR drone_rank >= 1), false)
        AS sealed_contradicted
FROM merged
