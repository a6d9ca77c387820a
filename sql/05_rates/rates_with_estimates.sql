-- grain: one outcome x window x grouping x level.
-- inputs: rates (plain), estimates. The plain rates with the headline estimate beside them.
SELECT
    rates.* EXCLUDE (estimate, estimate_low, estimate_high),
    estimates.estimate,
    estimates.estimate_low,
    estimates.estimate_high
FROM rates
LEFT JOIN estimates USING (outcome, window_days, "grouping", level)
ORDER BY rates.outcome, rates.window_days, rates."grouping", rates.level
