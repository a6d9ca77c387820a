-- grain: one course: a queen's mating by instrument, in one or more doses.
-- inputs: doses_given, operator_days, queen_facts, semen_facts, co2_schedule,
--   accepted_placements.
-- Parameters: as_of, season_first_month, and the hard limits of what is derived
--   (a value outside is left empty; `derived_limits` lists it).
-- units: uL, hours, days, minutes. d0: day of the course's last insemination.
-- next_on: first insemination of the queen's next course (null: none).
-- course_no, queen_no: numbers in the order of the ids, cheaper to join and sort by; they
--   are this build's own and are not exported.
WITH totals AS (
    SELECT
        course_id,
        -- a row such as "4+4" holds several
        CAST(sum(coalesce(dose_ul__parts, 1)) AS BIGINT) AS doses,
        -- unknown when one part is unknown
        CASE WHEN count(dose_ul) = count(*) THEN sum(dose_ul ORDER BY turn) END AS dose_ul,
        CASE
            WHEN count(dose_meant_ul) = count(*) THEN sum(dose_meant_ul ORDER BY turn)
        END AS dose_meant_ul
    FROM doses_given
    GROUP BY course_id
),

main AS (SELECT * FROM doses_given WHERE is_main),

placed AS (
    SELECT main.course_id, min(placements.placed_on) AS placed_on
    FROM accepted_placements AS placements
    INNER JOIN main
        ON main.queen_id = placements.queen_id
        AND placements.placed_on >= main.d0
        AND placements.placed_on < coalesce(main.next_on, DATE '9999-12-31')
    WHERE placements.placed_on <= $as_of
    GROUP BY main.course_id
),

ages AS (
    SELECT
        course_id,
        main.d0 - queen_facts.emerged_on AS queen_age_days,
        semen_facts.drone_age_days,
        semen_facts.semen_age_h
    FROM main
    INNER JOIN queen_facts USING (course_id)
    INNER JOIN semen_facts USING (course_id)
)

SELECT
    -- unlike a running number, this needs no sorting of everything
    main.queen_no * 1048576 + main.course AS course_no,
    main.queen_no,
    main.course_id,
    main.queen_id,
    main.course,
    main.d0,
    main.inseminated_at,
    CASE
        WHEN ages.queen_age_days BETWEEN $queen_age_days_low AND $queen_age_days_high
            THEN ages.queen_age_days
    END AS queen_age_days,
    CASE
        WHEN ages.drone_age_days BETWEEN $drone_age_days_low AND $drone_age_days_high
            THEN ages.drone_age_days
    END AS drone_age_days,
    CASE
        WHEN ages.semen_age_h BETWEEN $semen_age_h_low AND $semen_age_h_high
            THEN ages.semen_age_h
    END AS semen_age_h,
    totals.dose_ul,
    totals.doses,
    co2_schedule.co2_exposures,
    co2_schedule.co2_gap_h,
    main.operator,
    operator_days.operator_case,
    operator_days.operator_gap_days,
    operator_days.bench_order,
    main.attempts,
    main.leak,
    main.minutes,
    main.instrument,
    main.tip,
    queen_facts.line,
    semen_facts.drone_line,
    queen_facts.graft_batch,
    main.semen_batch,
    strftime(main.d0, '%G-W%V') AS iso_week,
    CASE
        WHEN $season_first_month = 1 THEN CAST(year(main.d0) AS VARCHAR)
        WHEN month(main.d0) >= $season_first_month
            THEN year(main.d0) || '/' || (year(main.d0) + 1)
        ELSE (year(main.d0) - 1) || '/' || year(main.d0)
    END AS season,
    placed.placed_on - main.d0 AS placed_day,
    totals.dose_meant_ul,
    main.protocol,
    main.trial,
    main.block,
    co2_schedule.co2_schedule,
    queen_facts.marked,
    main.first_on,
    main.next_on
FROM main
INNER JOIN totals USING (course_id)
INNER JOIN queen_facts USING (course_id)
INNER JOIN semen_facts USING (course_id)
INNER JOIN co2_schedule USING (course_id)
INNER JOIN ages USING (course_id)
LEFT JOIN operator_days ON main.ref = operator_days.ref
LEFT JOIN placed USING (course_id)
