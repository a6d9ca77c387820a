-- grain: one course, in the order of the ids.
-- inputs: courses, meant. What may go with an outcome, and the groups that share their fate.
-- units: uL, days, hours; day_of_year 1-366. co2_gap: hours between the two exposures
-- whatever their order. co2_schedule: as meant, empty where that is not known: nothing was
-- recorded, or she went too early (later_open) for the later exposure that may have been
-- meant; co2_got: as recorded. dose_error: given minus meant. A text that is missing is empty.
SELECT
    course_id,
    meant.dose,
    CAST(meant.doses AS DOUBLE) AS doses,
    drone_age_days AS drone_age,
    CAST(queen_age_days AS DOUBLE) AS queen_age,
    semen_age_h,
    operator_case,
    abs(co2_gap_h) AS co2_gap,
    CASE
        WHEN co2_schedule = 'not recorded' OR meant.later_open > 0 THEN ''
        ELSE co2_schedule
    END AS co2_schedule,
    CASE WHEN co2_schedule = 'not recorded' THEN '' ELSE co2_schedule END AS co2_got,
    meant.later_open,
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
INNER JOIN meant USING (course_id)
ORDER BY course_id
