-- grain: an outcome x window whose estimate over all courses moved since the build before.
-- inputs: rates, previous_rates. Parameter: least_move (share). was, is: shares.
SELECT
    rates.outcome,
    rates.window_days,
    earlier.estimate AS was,
    rates.estimate AS "is"
FROM rates
INNER JOIN previous_rates AS earlier USING (outcome, window_days, "grouping", level)
WHERE
    rates."grouping" = 'all'
    AND abs(rates.estimate - earlier.estimate) >= $least_move
ORDER BY rates.outcome, rates.window_days
