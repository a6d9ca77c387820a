-- grain: one operator x season x measure of what happens on the bench.
-- inputs: courses, doses_given. units: uL, attempts, share of inseminations (leak: any
-- backflow), minutes, queens. recorded: inseminations (days, for queens a day) that the figure stands on.
-- spread: standard deviation, in the measure's unit.
-- station_*: the same over all operators of the season.
WITH measured AS (
    SELECT
        given.operator,
        courses.season,
        given.inseminated_on,
        given.queen_id,
        given.dose_ul - given.dose_meant_ul AS dose_error,
        CAST(given.attempts AS DOUBLE) AS attempts,
        CASE WHEN given.leak = 'none' THEN 0.0 WHEN given.leak IS NOT NULL THEN 1.0 END AS leak,
        given.minutes
    FROM doses_given AS given
    INNER JOIN courses USING (course_id)
    WHERE given.operator IS NOT NULL
),

long AS (
    UNPIVOT (SELECT operator, season, dose_error, attempts, leak, minutes FROM measured)
    ON dose_error, attempts, leak, minutes INTO NAME measure VALUE amount
    UNION ALL
    SELECT operator, season, 'queens_a_day', CAST(count(DISTINCT queen_id) AS DOUBLE)
    FROM measured
    GROUP BY operator, season, inseminated_on
),

station AS (
    SELECT
        season,
        measure,
        avg(amount ORDER BY amount) AS station_mean,
        quantile_cont(amount, 0.1) AS station_low,
        quantile_cont(amount, 0.9) AS station_high
    FROM long
    GROUP BY season, measure
)

SELECT
    long.operator,
    long.season,
    long.measure,
    count(*) AS recorded,
    avg(long.amount ORDER BY long.amount) AS mean,
    sqrt(
        greatest(
            avg(long.amount * long.amount ORDER BY long.amount)
            - pow(avg(long.amount ORDER BY long.amount), 2),
            0
        )
    ) AS spread,
    quantile_cont(long.amount, 0.1) AS low,
    quantile_cont(long.amount, 0.5) AS median,
    quantile_cont(long.amount, 0.9) AS high,
    any_value(station.station_mean) AS station_mean,
    any_value(station.station_low) AS station_low,
    any_value(station.station_high) AS station_high
FROM long
INNER JOIN station USING (season, measure)
GROUP BY long.operator, long.season, long.measure
ORDER BY ALL
