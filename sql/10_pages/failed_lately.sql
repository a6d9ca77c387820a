-- grain: one course that failed in the last week, with the gravest thing known of it.
-- inputs: courses, standings, outcomes. Parameters: as_of, lately_days, grace_days, sources,
--   failures (outcome, window_days, state that is a failure which no end of hers tells, and
--   what to say of it).
-- A failure counts on the day by which her end is known, or on which the window closed.
WITH failed AS (
    SELECT
        courses.course_id,
        courses.d0 + CAST(standings.end_by AS INTEGER) AS "on",
        'gone: ' || CASE standings.end_reason
            WHEN 'culled_fault' THEN 'culled for a fault'
            WHEN 'drone_layer' THEN 'drone-layer'
            ELSE replace(standings.end_reason, '_', ' ')
        END
            || CASE WHEN standings.inferred THEN ', as the looks say' ELSE '' END AS what,
        [
            $sources[standings.end_ref // 68719476736]
            || ':' || (standings.end_ref % 68719476736)
        ] AS settled_by
    FROM standings
    INNER JOIN courses USING (course_no)
    WHERE standings.window_days IS NULL AND standings.end_by IS NOT NULL
    UNION ALL
    SELECT
        outcomes.course_id,
        courses.d0 + outcomes.window_days + $grace_days AS "on",
        failures.what,
        outcomes.settled_by
    FROM outcomes
    INNER JOIN (SELECT unnest($failures, recursive := true)) AS failures
        USING (outcome, window_days, state)
    INNER JOIN courses USING (course_id)
    WHERE outcomes.closed
)

SELECT
    courses.queen_id,
    failed.course_id,
    courses.operator,
    failed."on",
    string_agg(DISTINCT failed.what, '; ' ORDER BY failed.what) AS what,
    array_to_string(list_sort(list_distinct(flatten(list(failed.settled_by)))), ', ') AS settled_by
FROM failed
INNER JOIN courses USING (course_id)
WHERE failed."on" > $as_of - $lately_days AND failed."on" <= $as_of
GROUP BY ALL
ORDER BY failed."on" DESC, failed.course_id
