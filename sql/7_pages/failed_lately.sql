-- grain: one course that failed in the last week, with the gravest thing known of it.
-- inputs: courses, ends, outcomes, accepted_placements. Parameters: as_of, lately_days.
-- A failure counts on the day by which her end is known, or on which the window closed.
WITH gone AS (
    SELECT
        ends.course_id,
        courses.d0 + CAST(ends."by" AS INTEGER) AS "on",
        'gone: ' || ends.end_reason
            || CASE WHEN ends.inferred THEN ', as the looks say' ELSE '' END AS what
    FROM ends
    INNER JOIN courses USING (course_id)
),

closed AS (
    SELECT
        outcomes.course_id,
        courses.d0 + outcomes.window_days + $grace_days AS "on",
        CASE outcomes.outcome
            WHEN 'laying' THEN 'not laying by day ' || outcomes.window_days
            WHEN 'pattern' THEN 'poor brood pattern by day ' || outcomes.window_days
            WHEN 'drone_layer' THEN 'drone-layer by day ' || outcomes.window_days
        END AS what,
        outcomes.settled_by
    FROM outcomes
    INNER JOIN courses USING (course_id)
    WHERE
        outcomes.closed
        AND (
            (outcomes.outcome IN ('laying', 'pattern') AND outcomes.state = 'no')
            OR (outcomes.outcome = 'drone_layer' AND outcomes.state = 'yes')
        )
),

failed AS (
    SELECT course_id, "on", what, NULL AS settled_by FROM gone
    UNION ALL
    SELECT course_id, "on", what, settled_by FROM closed
)

SELECT
    courses.queen_id,
    failed.course_id,
    courses.operator,
    failed."on",
    string_agg(DISTINCT failed.what, '; ' ORDER BY failed.what) AS what,
    array_to_string(flatten(list(failed.settled_by)), ', ') AS settled_by
FROM failed
INNER JOIN courses USING (course_id)
WHERE failed."on" > $as_of - $lately_days AND failed."on" <= $as_of
GROUP BY ALL
ORDER BY failed."on" DESC, failed.course_id
