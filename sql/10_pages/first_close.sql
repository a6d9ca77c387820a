-- grain: one outcome x window, the one whose first window closes first; no row without a course.
-- inputs: outcomes, courses. Parameter: grace_days. on: the day it closes, grace included.
SELECT
    outcomes.outcome,
    outcomes.window_days,
    min(courses.d0) + CAST(outcomes.window_days + $grace_days AS INTEGER) AS "on"
FROM outcomes
INNER JOIN courses USING (course_id)
GROUP BY outcomes.outcome, outcomes.window_days
ORDER BY "on", outcomes.outcome
LIMIT 1
