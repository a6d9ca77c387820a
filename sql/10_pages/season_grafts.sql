-- grain: one graft batch of a season with decided courses, in the order of its first day.
-- inputs: batches, courses. Parameters: outcome, window_days, season.
WITH of_season AS (
    SELECT DISTINCT graft_batch FROM courses WHERE season = $season
)

SELECT
    batches.batch AS name,
    batches.courses,
    batches.failures,
    batches.expected,
    batches.mid_p,
    batches.flag
FROM batches
INNER JOIN of_season ON of_season.graft_batch = batches.batch
WHERE
    batches.kind = 'graft_batch'
    AND batches.outcome = $outcome
    AND batches.window_days = $window_days
ORDER BY batches.first_on, batches.batch
