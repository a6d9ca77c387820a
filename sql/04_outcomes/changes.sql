-- grain: one course x outcome x window whose state differs from the build before.
-- inputs: outcomes (this build's), previous_outcomes (the build before's).
-- was, is: null where the outcome was not, or is no longer, asked of the course. A course
-- that is new and still undecided is no change; nor is a window that the settings dropped.
-- because: from the deciding records, whose first stands for all.
-- was_closed: the window had closed by the build before; not exported.
WITH asked AS (
    SELECT DISTINCT outcome, window_days
    FROM outcomes
),

courses_now AS (
    SELECT DISTINCT course_id
    FROM outcomes
),

paired AS (
    SELECT
        course_id,
        outcome,
        window_days,
        earlier.state AS was,
        now.state AS "is",
        coalesce(earlier.closed, false) AS was_closed,
        coalesce(now.closed, false) AS is_closed,
        coalesce(earlier.settled_by, []) AS settled_before,
        coalesce(now.settled_by, []) AS settled_now
    FROM outcomes AS now
    FULL OUTER JOIN previous_outcomes AS earlier
        USING (course_id, outcome, window_days)
),

differing AS (
    SELECT paired.*
    FROM paired
    INNER JOIN asked USING (outcome, window_days)
    WHERE
        was IS DISTINCT FROM "is"
        AND NOT (was IS NULL AND "is" = 'undecided')
)

SELECT
    course_id,
    outcome,
    -- as in outcomes: without a build before, this build's own stands for it
    CAST(window_days AS INTEGER) AS window_days,
    was,
    "is",
    CASE
        WHEN "is" IS NULL AND courses_now.course_id IS NULL
            THEN 'the course is no longer in the records'
        WHEN "is" IS NULL THEN 'no longer asked of her'
        WHEN settled_now[1] IS NOT NULL AND NOT list_contains(settled_before, settled_now[1])
            THEN 'record ' || settled_now[1]
        WHEN len(settled_now) = 0 AND len(settled_before) > 0
            THEN 'the record that settled it is gone or corrected'
        WHEN is_closed AND NOT was_closed THEN 'window closed'
        WHEN NOT is_closed THEN 'window still open'
        ELSE 'records corrected'
    END AS because,
    was_closed
FROM differing
LEFT JOIN courses_now USING (course_id)
ORDER BY course_id, outcome, window_days
