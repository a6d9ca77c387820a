-- grain: one ISO week of day 0 with a course of the two latest seasons up to the as-of day.
-- inputs: outcomes, courses, rates, batches. Parameters: outcome, window_days, as_of,
--   fails (the state that is a failure).
-- A week is counted whole, in the season of its last day. share, low, high: of a closed week
-- the estimate, or where none can be made the plain rate (null under the smallest number
-- shown); of a week still open the share of its courses that is known to be a yes so far,
-- which is not a rate yet. batch: the flagged graft that most of the week's failures are of.
WITH latest AS (
    SELECT DISTINCT season FROM courses WHERE d0 <= $as_of ORDER BY season DESC LIMIT 2
),

weeks AS (
    SELECT
        courses.iso_week,
        max(courses.season) AS season,
        CAST(min(date_trunc('week', courses.d0)) AS DATE) AS week_of,
        count(*) AS courses,
        bool_and(outcomes.closed) AS closed,
        count(*) FILTER (WHERE outcomes.state = 'yes') AS yes,
        count(*) FILTER (WHERE outcomes.state = 'no') AS "no",
        count(*) FILTER (WHERE outcomes.state = 'undecided') AS undecided,
        count(*) FILTER (WHERE outcomes.state = 'left') AS "left"
    FROM outcomes
    INNER JOIN courses USING (course_id)
    WHERE outcomes.outcome = $outcome AND outcomes.window_days = $window_days
    GROUP BY courses.iso_week
),

flagged AS (
    SELECT DISTINCT batch FROM batches WHERE kind = 'graft_batch' AND flag = 'more'
),

failures AS (
    SELECT courses.iso_week, courses.graft_batch, count(*) AS failed
    FROM outcomes
    INNER JOIN courses USING (course_id)
    WHERE
        outcomes.outcome = $outcome
        AND outcomes.window_days = $window_days
        AND outcomes.state = $fails
    GROUP BY courses.iso_week, courses.graft_batch
),

worst AS (
    SELECT iso_week, graft_batch
    FROM failures
    QUALIFY row_number() OVER (
        PARTITION BY iso_week ORDER BY failed DESC, graft_batch
    ) = 1
)

SELECT
    weeks.*,
    CASE
        WHEN weeks.closed THEN coalesce(rates.estimate, rates.rate)
        ELSE weeks.yes / weeks.courses
    END AS share,
    CASE
        WHEN NOT weeks.closed THEN NULL
        WHEN rates.estimate IS NULL THEN rates.low
        ELSE rates.estimate_low
    END AS low,
    CASE
        WHEN NOT weeks.closed THEN NULL
        WHEN rates.estimate IS NULL THEN rates.high
        ELSE rates.estimate_high
    END AS high,
    CASE WHEN weeks.closed THEN rates.rate END AS rate,
    flagged.batch
FROM weeks
INNER JOIN latest USING (season)
INNER JOIN rates
    ON rates."grouping" = 'iso_week'
    AND rates.level = weeks.iso_week
    AND rates.outcome = $outcome
    AND rates.window_days = $window_days
LEFT JOIN worst ON worst.iso_week = weeks.iso_week
LEFT JOIN flagged ON flagged.batch = worst.graft_batch
ORDER BY weeks.iso_week
