-- grain: one course x outcome x window of every queen, with its state alone.
-- inputs: outcomes. closed: the window's last day, with the days of grace, has passed.
SELECT course_id, outcome, window_days, state, closed
FROM outcomes
ORDER BY course_id, outcome, window_days
