-- grain: one course x outcome x window, with its interval and the rows that settled it.
-- inputs: outcomes, courses. after, by: days after d0.
SELECT
    courses.queen_id,
    courses.course,
    outcomes.course_id,
    outcomes.outcome,
    outcomes.window_days,
    outcomes.state,
    outcomes.closed,
    outcomes."after",
    outcomes."by",
    outcomes.settled_by
FROM outcomes
INNER JOIN courses USING (course_id)
ORDER BY courses.queen_id, courses.course, outcomes.outcome, outcomes.window_days
