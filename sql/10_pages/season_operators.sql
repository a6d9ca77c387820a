-- grain: one operator with a running series against colleagues in a season.
-- inputs: operator_series, courses. Parameter: season. Sums are of the courses that the
--   series counts, as it stands on the as-of day; signals: how many limits it reached for
--   the worse.
SELECT
    series.operator AS name,
    count(*) FILTER (WHERE series.failed IS NOT NULL) AS courses,
    count(*) FILTER (WHERE series.failed) AS failures,
    count(*) FILTER (WHERE series.failed)
    - max_by(series.sum_over_expected, series."case") AS expected,
    count(*) FILTER (WHERE series.signal = 'worse') AS signals
FROM operator_series AS series
INNER JOIN courses USING (course_id)
WHERE series.series = 'level' AND series.operator IS NOT NULL AND courses.season = $season
GROUP BY series.operator
ORDER BY series.operator
