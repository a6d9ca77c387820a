-- grain: one course of an outcome, in the order of the ids.
-- inputs: outcomes_from_first. Parameters: outcome, window_days.
-- state: yes, no, undecided or left, by the window that begins with the first insemination.
SELECT course_id, state, closed
FROM outcomes_from_first
WHERE outcome = $outcome AND window_days = $window_days
ORDER BY course_id
