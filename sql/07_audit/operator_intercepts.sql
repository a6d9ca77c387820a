-- grain: one operator with a random intercept in the main model of an outcome.
-- inputs: model_groups. Parameters: outcome, window_days.
-- units: log odds of yes.
SELECT level, effect, low, high
FROM model_groups
WHERE
    outcome = $outcome
    AND window_days = $window_days
    AND model = 'main'
    AND grouping = 'operator'
    AND level IS NOT NULL
ORDER BY level
