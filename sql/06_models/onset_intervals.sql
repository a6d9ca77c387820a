-- grain: one course, in the order of the ids.
-- inputs: courses, onset, standings. What is known of the day on which laying began.
-- Days count from d0; null is never seen. unlaid_day: gone, or inseminated again, by that
-- day with no brood of hers ever seen. begun_by: the latest day on which such a course may
-- have begun all the same; null where it is settled that it had not. The curves of laying
-- stand on the same days.
SELECT
    courses.course_id,
    onset."after" AS onset_after,
    onset."by" AS onset_by,
    CASE WHEN onset."by" IS NULL THEN least(standings.end_by, standings.next_day) END
        AS unlaid_day,
    standings.begun_by
FROM courses
INNER JOIN onset USING (course_id)
INNER JOIN standings USING (course_no)
WHERE standings.window_days IS NULL
ORDER BY courses.course_id
