-- grain: one check due of a course of the queens asked for, in their order.
-- inputs: due, courses. Parameter: queens (a list of ids). day: days after d0; on: its date.
SELECT
    due.queen_id,
    courses.course,
    due.day,
    due."on",
    due.look_for,
    due.settles
FROM due
INNER JOIN courses USING (queen_id, course_id)
SEMI JOIN (SELECT unnest($queens) AS queen_id) AS asked ON due.queen_id = asked.queen_id
WHERE due.status = 'due'
ORDER BY due.queen_id, courses.course, due.day
