-- grain: one month of day 0 of the two latest seasons x what is to be recorded of a course.
-- inputs: courses. Parameter: as_of. courses: of the month; recorded: those that have it.
WITH latest AS (
    SELECT DISTINCT season FROM courses WHERE d0 <= $as_of ORDER BY season DESC LIMIT 2
),

counts AS (
    SELECT
        strftime(courses.d0, '%Y-%m') AS "month",
        count(*) AS courses,
        count(courses.operator) AS operator,
        count(courses.dose_ul) AS dose,
        count(nullif(courses.co2_schedule, 'not recorded')) AS co2_schedule,
        count(courses.queen_age_days) AS queen_age,
        count(courses.drone_age_days) AS drone_age,
        count(courses.semen_age_h) AS semen_age,
        count(courses.graft_batch) AS graft_batch,
        count(courses.semen_batch) AS semen_batch,
        count(courses.attempts) AS attempts,
        count(courses.leak) AS leak,
        count(courses."minutes") AS "minutes",
        count(courses.tip) AS tip
    FROM courses
    INNER JOIN latest USING (season)
    WHERE courses.d0 <= $as_of
    GROUP BY "month"
)

UNPIVOT counts ON COLUMNS(* EXCLUDE ("month", courses)) INTO NAME item VALUE recorded
