-- grain: one check due of a course, in the order of the queens.
-- inputs: due, courses. day: days after d0; on: its date.
SELECT
    due.queen_id,
    courses.course,
    due.day,
    due."on",
    due.look_for,
    due.settles
FROM due
INNER JOIN courses USING (queen_id, course_id)
WHERE due.status = 'due'
ORDER BY due.queen_id, courses.course, due.day
