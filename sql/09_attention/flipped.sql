-- grain: an outcome x window with settled answers that corrected records turned.
-- inputs: changes. Counts of courses; example: one of them. Only windows that had closed by
-- the build before: in an open one a new look is news of the queen and no correction.
SELECT
    outcome,
    window_days,
    count(*) AS courses,
    min(course_id) AS example,
    arg_min(was, course_id) AS was,
    arg_min("is", course_id) AS "is"
FROM changes
WHERE
    was IN ('yes', 'no') AND "is" IS NOT NULL AND was_closed
GROUP BY ALL
ORDER BY courses DESC, outcome, window_days
