-- grain: one hint in a course's looks that its queen is gone.
-- inputs: evidence, end_signs. Parameter: missing_run_days.
-- missing: a run of looks in a row without queen or eggs, the first and the last
--   missing_run_days apart or more. superseded: a queen without the mark.
-- by_day: the hint's day. It holds as known on day d when valid_from <= d < valid_until
--   (null: for ever): a later sign of her undoes it.
WITH recorded AS (
    -- looks at which the queen was not looked for neither lengthen nor break a run,
    -- unless they show brood of hers
    SELECT
        course_no,
        day,
        ref,
        is_empty,
        sum(CASE WHEN is_empty THEN 0 ELSE 1 END) OVER (
            PARTITION BY course_no ORDER BY day
        ) AS run
    FROM evidence
    SEMI JOIN (SELECT DISTINCT course_no FROM evidence WHERE is_empty) AS suspects
        USING (course_no)
    WHERE queen_seen IS NOT NULL OR shows_brood
),

runs AS (
    SELECT
        course_no,
        'missing' AS reason,
        first_day AS by_day,
        min(day) AS valid_from,
        first_ref AS ref,
        arg_min(ref, day) AS second_ref
    FROM (
        SELECT
            *,
            min(day) OVER (PARTITION BY course_no, run) AS first_day,
            first_value(ref) OVER (PARTITION BY course_no, run ORDER BY day) AS first_ref
        FROM recorded
        WHERE is_empty
    )
    WHERE day - first_day >= $missing_run_days
    GROUP BY course_no, run, first_day, first_ref
),

strangers AS (
    SELECT
        course_no,
        'superseded' AS reason,
        day AS by_day,
        day AS valid_from,
        ref,
        NULL AS second_ref
    FROM evidence
    WHERE mark = false
),

hints AS (
    SELECT * FROM runs
    UNION ALL
    SELECT * FROM strangers
)

SELECT
    hints.course_no,
    hints.reason,
    hints.by_day,
    hints.valid_from,
    min(signs.day) AS valid_until,
    hints.ref,
    hints.second_ref
FROM hints
LEFT JOIN end_signs AS signs
    ON hints.course_no = signs.course_no
    AND signs.day >= hints.by_day
    AND (signs.is_own OR hints.reason = 'missing')
GROUP BY ALL
