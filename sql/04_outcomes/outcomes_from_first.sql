-- grain: one course x outcome x window, for comparing doses.
-- inputs: outcomes, courses, and from_first.outcomes: the same of the queens that had a
-- course on more than one day, with day 0 at a course's first insemination.
-- A queen that dies between two doses then counts on the clock of those who lived.
SELECT from_first.outcomes.course_id, outcome, window_days, state, closed
FROM from_first.outcomes
UNION ALL
SELECT outcomes.course_id, outcome, window_days, state, closed
FROM main.outcomes
WHERE course_id NOT IN (SELECT course_id FROM from_first.outcomes)
ORDER BY ALL
