-- grain: one outcome x window that has a headline, the first windows first.
-- inputs: rates. estimate: share of all courses whose window has closed.
SELECT outcome, window_days, estimate
FROM rates
WHERE "grouping" = 'all' AND estimate IS NOT NULL
ORDER BY window_days, outcome
