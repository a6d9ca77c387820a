-- grain: one course of the latest seasons up to the as-of day, the latest first.
-- inputs: courses. Parameters: as_of, seasons (how many of the latest).
-- What a course shares with others, so that charts of a page can mark the same courses.
SELECT
    iso_week AS week,
    d0 AS day,
    operator,
    graft_batch,
    semen_batch
FROM courses
WHERE
    d0 <= $as_of
    AND season IN (SELECT DISTINCT season FROM courses WHERE d0 <= $as_of
                   ORDER BY season DESC LIMIT $seasons)
ORDER BY d0 DESC, course_id
