-- grain: one course.
-- inputs: doses_given, accepted_semen.
-- What is known of the semen of the main insemination: its semen row first, else what the
-- flat sheet gives beside it. drone_age_days: collection day minus the middle of the
-- drones' emergence days (days, halves possible), else as recorded. semen_age_h: hours
-- between collection and insemination; null where either has no time of day.
WITH known AS (
    SELECT
        doses.course_id,
        doses.inseminated_at,
        doses.inseminated_on,
        doses.has_time,
        coalesce(semen.drone_line, doses.drone_line) AS drone_line,
        coalesce(semen.collected_at, doses.collected_at) AS collected_at,
        semen.diluent,
        coalesce(semen.storage_c, doses.storage_c) AS storage_c,
        semen.drones_emerged_from,
        semen.drones_emerged_to,
        coalesce(semen.drone_age_days, doses.drone_age_days) AS drone_age_recorded
    FROM doses_given AS doses
    LEFT JOIN accepted_semen AS semen USING (semen_batch)
    WHERE doses.is_main
)

SELECT
    course_id,
    drone_line,
    diluent,
    storage_c,
    collected_at,
    coalesce(
        CAST(collected_at AS DATE) - drones_emerged_from
        - (drones_emerged_to - drones_emerged_from) / 2,
        drone_age_recorded
    ) AS drone_age_days,
    CASE
        WHEN has_time AND collected_at <> date_trunc('day', collected_at)
            THEN date_diff('minute', collected_at, inseminated_at) / 60
        WHEN CAST(collected_at AS DATE) > inseminated_on
            -- a day apart is enough to see that the order is impossible
            THEN 24 * (inseminated_on - CAST(collected_at AS DATE))
    END AS semen_age_h
FROM known
