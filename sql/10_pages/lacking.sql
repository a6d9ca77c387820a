-- grain: one closed outcome x window, with how many of its courses nobody could settle.
-- inputs: rates.
SELECT outcome, window_days, closed, undecided, "left", undecided / closed AS share
FROM rates
WHERE "grouping" = 'all' AND closed > 0
ORDER BY outcome, window_days
