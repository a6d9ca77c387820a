-- grain: one course, in the order of the ids.
-- inputs: courses, meant. Numbers and words that may go with a course's fate, as they are known;
-- units as in courses. A word that is missing is empty.
SELECT
    course_id,
    meant.dose,
    CAST(meant.doses AS DOUBLE) AS doses,
    drone_age_days AS drone_age,
    CAST(queen_age_days AS DOUBLE) AS queen_age,
    ln(1 + semen_age_h) AS semen_age,
    ln(operator_case) AS experience,
    abs(co2_gap_h) AS co2_gap,
    sin(2 * pi() * dayofyear(d0) / 365.25) AS season_sine,
    cos(2 * pi() * dayofyear(d0) / 365.25) AS season_cosine,
    CAST(attempts AS DOUBLE) AS attempts,
    CAST("minutes" AS DOUBLE) AS "minutes",
    dose_ul - dose_meant_ul AS dose_error,
    CAST(bench_order AS DOUBLE) AS bench_order,
    coalesce(operator, '') AS operator,
    coalesce(protocol, '') AS protocol,
    coalesce(line, '') AS line,
    coalesce(drone_line, '') AS drone_line,
    co2_schedule,
    coalesce(leak, '') AS leak,
    season AS "year",
    coalesce(graft_batch, course_id) AS graft_batch,
    coalesce(semen_batch, course_id) AS semen_batch
FROM courses
INNER JOIN meant USING (course_id)
ORDER BY course_id
