-- grain: one dose of the main model's curve.
-- inputs: adjusted. Parameters: outcome, window_days.
-- dose_ul: uL, all doses of a course together. probability, low, high: of yes, share 0-1.
-- courses_near: courses nearest to this dose.
SELECT "value" AS dose_ul, probability, low, high, courses_near
FROM adjusted
WHERE
    model = 'main' AND factor = 'dose' AND "value" IS NOT NULL
    AND outcome = $outcome AND window_days = $window_days
ORDER BY "value"
