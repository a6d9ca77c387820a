-- grain: one course.
-- inputs: doses_given, co2_exposures. Parameter: co2 (every: the records list each
-- exposure; other: only those beside the insemination's own, so that no row means one).
-- An exposure within 2 hours of an insemination is that insemination's own (on the same
-- day, where a time is missing). Of the others from 5 days before d0 to 5 days after, and
-- the course's other inseminations, the one nearest to the main insemination (the earlier
-- on a tie) is the other exposure. co2_gap_h: its time minus the main insemination's, in
-- hours; null where a time is missing. gap_days: the same by the dates alone. co2_exposures counts all of them, one for each
-- insemination without a recorded exposure of its own. One of which a flat sheet has the
-- minutes and no day counts too, where no other is recorded; when it was is not known.
WITH owned AS (
    SELECT
        exposures.queen_id,
        exposures.given_at,
        doses.ref AS insemination_ref
    FROM co2_exposures AS exposures
    INNER JOIN doses_given AS doses
        ON exposures.queen_id = doses.queen_id
        AND CASE
            WHEN exposures.has_time AND doses.has_time
                THEN abs(date_diff('minute', doses.inseminated_at, exposures.given_at))
                    <= 120
            ELSE NOT exposures.is_other
                AND CAST(exposures.given_at AS DATE) = doses.inseminated_on
        END
),

courses AS (
    SELECT course_id, queen_id, d0, inseminated_at, inseminated_on, has_time, ref
    FROM doses_given
    WHERE is_main
),

near_d0 AS (
    SELECT
        courses.course_id,
        exposures.given_at,
        exposures.has_time,
        own.given_at IS NULL AS is_other
    FROM courses
    INNER JOIN co2_exposures AS exposures
        ON courses.queen_id = exposures.queen_id
        AND CAST(exposures.given_at AS DATE) BETWEEN courses.d0 - 5 AND courses.d0 + 5
    LEFT JOIN (SELECT DISTINCT queen_id, given_at FROM owned) AS own
        ON exposures.queen_id = own.queen_id AND exposures.given_at = own.given_at
),

others AS (
    SELECT course_id, given_at, has_time
    FROM near_d0
    WHERE is_other
    UNION ALL
    SELECT course_id, inseminated_at, has_time
    FROM doses_given
    WHERE NOT is_main
),

nearest AS (
    SELECT
        course_id,
        others.given_at,
        CASE
            WHEN others.has_time AND courses.has_time
                THEN date_diff('minute', courses.inseminated_at, others.given_at) / 60
        END AS gap_h,
        CAST(others.given_at AS DATE) - courses.inseminated_on AS gap_days
    FROM others
    INNER JOIN courses USING (course_id)
    QUALIFY row_number() OVER (
        PARTITION BY course_id
        ORDER BY abs(coalesce(gap_h, 24 * gap_days)), others.given_at
    ) = 1
),

counted AS (
    SELECT course_id, count(*) AS recorded
    FROM near_d0
    GROUP BY course_id
),

own_missing AS (
    SELECT course_id, count(*) AS missing
    FROM doses_given
    WHERE ref NOT IN (SELECT insemination_ref FROM owned)
    GROUP BY course_id
),

dayless AS (
    SELECT course_id, count(*) AS exposures
    FROM doses_given
    WHERE co2_other_minutes IS NOT NULL AND co2_other_at IS NULL
    GROUP BY course_id
)

SELECT
    courses.course_id,
    coalesce(counted.recorded, 0) + coalesce(own_missing.missing, 0)
        + CASE WHEN nearest.course_id IS NULL THEN coalesce(dayless.exposures, 0) ELSE 0 END
        AS co2_exposures,
    nearest.gap_h AS co2_gap_h,
    nearest.gap_days,
    CASE
        WHEN coalesce(nearest.gap_h, nearest.gap_days) < 0 THEN 'other before'
        WHEN coalesce(nearest.gap_h, nearest.gap_days) > 0 THEN 'other after'
        WHEN nearest.course_id IS NULL AND dayless.course_id IS NULL
            AND ($co2 = 'other' OR counted.recorded IS NOT NULL)
            THEN 'one exposure'
        ELSE 'not recorded'
    END AS co2_schedule
FROM courses
LEFT JOIN nearest USING (course_id)
LEFT JOIN counted USING (course_id)
LEFT JOIN dayless USING (course_id)
LEFT JOIN own_missing USING (course_id)
