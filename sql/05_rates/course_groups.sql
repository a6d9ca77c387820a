-- grain: one course.
-- inputs: courses, meant. The level that each grouping of the rates puts the course in; a value
-- that the records lack is a level of its own, so that the levels add up to all courses.
-- Levels in brackets are not compared: CO2 schedules are among those still there when a
-- later exposure was due, since only these could get one.
-- cluster: the graft batch as a number; a course without one stands alone.
WITH batches AS (
    SELECT graft_batch, row_number() OVER (ORDER BY graft_batch) AS batch_no
    FROM (SELECT DISTINCT graft_batch FROM courses WHERE graft_batch IS NOT NULL)
)

SELECT
    courses.course_id,
    'all' AS "all",
    iso_week,
    strftime(d0, '%Y-%m') AS "month",
    coalesce(operator, '(not recorded)') AS operator,
    coalesce(protocol, '(not recorded)') AS protocol,
    coalesce(line, '(not recorded)') AS line,
    coalesce(instrument, '(not recorded)') AS instrument,
    coalesce(tip, '(not recorded)') AS tip,
    coalesce(drone_line, '(not recorded)') AS drone_line,
    coalesce(semen_batch, '(not recorded)') AS semen_batch,
    coalesce(graft_batch, '(not recorded)') AS graft_batch,
    CASE
        WHEN meant.gone_first THEN '(gone before a later exposure)'
        WHEN co2_schedule = 'not recorded' THEN '(not recorded)'
        ELSE co2_schedule
    END AS co2_schedule,
    CAST(meant.doses AS VARCHAR) AS doses,
    season,
    coalesce(batches.batch_no, -courses.course_no) AS cluster
FROM courses
INNER JOIN meant USING (course_id)
LEFT JOIN batches USING (graft_batch)
