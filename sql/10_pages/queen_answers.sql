-- grain: one course x outcome x window of the queens asked for, with its interval and the
--   rows that settled it.
-- inputs: outcomes, courses. Parameter: queens (a list of ids). after, by: days after d0.
SELECT
    courses.queen_id,
    courses.course,
    outcomes.course_id,
    outcomes.outcome,
    outcomes.window_days,
    outcomes."after",
    outcomes."by",
    outcomes.settled_by
FROM outcomes
INNER JOIN courses USING (course_id)
SEMI JOIN (SELECT unnest($queens) AS queen_id) AS asked ON courses.queen_id = asked.queen_id
ORDER BY courses.queen_id, courses.course, outcomes.outcome, outcomes.window_days
