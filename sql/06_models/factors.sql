-- grain: one course, in the order of the ids.
-- inputs: courses. What may go with an outcome, and the groups that share their fate.
-- units: uL, days, hours; day_of_year 1-366. co2_gap: hours between the two exposures
-- whatever their order. dose_error: given minus meant. A text that is missing is empty.
SELECT
    course_id,
    coalesce(dose_meant_ul, dose_ul) AS dose,
    CAST(doses AS DOUBLE) AS doses,
    drone_age_days AS drone_age,
    CAST(queen_age_days AS DOUBLE) AS queen_age,
    semen_age_h,
    operator_case,
    abs(co2_gap_h) AS co2_gap,
    co2_schedule,
    coalesce(line, '') AS line,
    coalesce(drone_line, '') AS drone_line,
    season AS "year",
    CAST(dayofyear(d0) AS DOUBLE) AS day_of_year,
    coalesce(operator, '') AS operator,
    coalesce(graft_batch, '') AS graft_batch,
    coalesce(semen_batch, '') AS semen_batch,
    coalesce(instrument, '') AS instrument,
    coalesce(tip, '') AS tip,
    coalesce(leak, '') AS leak,
    CAST(attempts AS DOUBLE) AS attempts,
    CAST("minutes" AS DOUBLE) AS "minutes",
    dose_ul - dose_meant_ul AS dose_error,
    CAST(bench_order AS DOUBLE) AS bench_order
FROM courses
ORDER BY course_id
