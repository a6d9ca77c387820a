-- grain: one course, in the order of the ids.
-- inputs: courses, semen_facts, doses_given, looks, co2_exposures. Parameters: until.
-- What says which arm a course was meant for, and what was known when its first dose was
-- given. queen_age, day_of_year: on the day of the first insemination (courses has them on
-- the last, which a queen has to live to see). co2_before: another exposure than the dose's
-- own in the 5 days before it; an exposure after it would tell who was still alive.
-- bench_minutes: of all doses, null where one lacks them. visits: looks from day 0 to until.
-- units: uL, days, minutes. A text that is missing is empty.
WITH first_doses AS (
    SELECT course_id, queen_id, first_on, inseminated_at, has_time
    FROM doses_given
    QUALIFY row_number() OVER (PARTITION BY course_id ORDER BY turn) = 1
),

before AS (
    SELECT DISTINCT first_doses.course_id
    FROM first_doses
    INNER JOIN co2_exposures AS exposures USING (queen_id)
    WHERE
        CAST(exposures.given_at AS DATE) BETWEEN first_doses.first_on - 5
        AND first_doses.first_on
        AND CASE
            WHEN first_doses.has_time AND exposures.has_time
                THEN date_diff('minute', exposures.given_at, first_doses.inseminated_at)
                    > 120
            ELSE CAST(exposures.given_at AS DATE) < first_doses.first_on
        END
),

bench AS (
    SELECT
        course_id,
        -- in an order, so that threads change no digit
        CASE WHEN count("minutes") = count(*) THEN sum("minutes" ORDER BY turn) END
            AS bench_minutes
    FROM doses_given
    GROUP BY course_id
),

visited AS (
    SELECT course_no, count(*) AS visits
    FROM looks
    WHERE day BETWEEN 0 AND $until
    GROUP BY course_no
)

SELECT
    courses.course_id,
    coalesce(courses.trial, '') AS trial,
    coalesce(courses.block, '') AS block,
    coalesce(courses.protocol, '') AS protocol,
    CAST(courses.doses AS DOUBLE) AS doses,
    coalesce(semen_facts.diluent, '') AS diluent,
    courses.dose_meant_ul AS dose_meant,
    courses.dose_ul AS dose_given,
    CAST(courses.queen_age_days - (courses.d0 - courses.first_on) AS DOUBLE) AS queen_age,
    CAST(courses.first_on AS VARCHAR) AS first_on,
    CAST(dayofyear(courses.first_on) AS DOUBLE) AS day_of_year,
    bench.bench_minutes,
    CAST(coalesce(visited.visits, 0) AS DOUBLE) AS visits,
    CASE WHEN before.course_id IS NULL THEN 'none before' ELSE 'one before' END
        AS co2_before
FROM courses
INNER JOIN semen_facts USING (course_id)
INNER JOIN bench USING (course_id)
LEFT JOIN visited USING (course_no)
LEFT JOIN before USING (course_id)
ORDER BY courses.course_id
