-- grain: one ISO week of day 0 in the two seasons up to the as-of day.
-- inputs: outcomes, courses, rates. Parameters: outcome, window_days, as_of.
-- share: yes / (yes + no) of a closed week, null under the smallest number shown; of a week
-- still open, what is known so far over all its courses, which is not a rate yet.
WITH weeks AS (
    SELECT
        courses.iso_week,
        CAST(min(date_trunc('week', courses.d0)) AS DATE) AS week_of,
        count(*) AS courses,
        bool_and(outcomes.closed) AS closed,
        count(*) FILTER (WHERE outcomes.state = 'yes') AS yes,
        count(*) FILTER (WHERE outcomes.state = 'no') AS "no",
        count(*) FILTER (WHERE outcomes.state = 'undecided') AS undecided,
        count(*) FILTER (WHERE outcomes.state = 'left') AS "left"
    FROM outcomes
    INNER JOIN courses USING (course_id)
    WHERE
        outcomes.outcome = $outcome
        AND outcomes.window_days = $window_days
        AND courses.d0 > $as_of - 400
    GROUP BY courses.iso_week
)

SELECT
    weeks.*,
    CASE WHEN weeks.closed THEN rates.rate ELSE weeks.yes / weeks.courses END AS share,
    CASE WHEN weeks.closed THEN rates.low END AS low,
    CASE WHEN weeks.closed THEN rates.high END AS high
FROM weeks
INNER JOIN rates
    ON rates."grouping" = 'iso_week'
    AND rates.level = weeks.iso_week
    AND rates.outcome = $outcome
    AND rates.window_days = $window_days
ORDER BY weeks.iso_week
