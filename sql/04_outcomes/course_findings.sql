-- grain: one finding about an accepted row, after linking.
-- inputs: linked_checks, accepted_*, doses_given, courses, queen_facts, semen_facts,
--   course_exits, queen_days, looks, evidence, standings.
-- Parameters: as_of, and hard and soft limits of what is derived.
-- ref: the row; "table", "column", value: its cell, as text; other: what it is held against.
-- `reason` is one of the closed list of reasons, which holds the words.
WITH strangers AS (
    SELECT ref, 'checks' AS "table", queen_id FROM linked_checks
    UNION ALL
    SELECT ref, 'exits', queen_id FROM accepted_exits WHERE left_on <= $as_of
    UNION ALL
    SELECT ref, 'placements', queen_id FROM accepted_placements WHERE placed_on <= $as_of
    UNION ALL
    SELECT ref, 'co2', queen_id FROM accepted_co2 WHERE CAST(given_at AS DATE) <= $as_of
    UNION ALL
    SELECT ref, 'lab', queen_id FROM accepted_lab WHERE sampled_on <= $as_of
),

unknown_queens AS (
    -- an id one or two letters off is worth naming; the search is for the first 100 only
    SELECT
        queen_id,
        arg_min(known_id, (distance, known_id)) FILTER (WHERE distance <= 2) AS nearest_id
    FROM (
        SELECT
            unknown.queen_id,
            known.queen_id AS known_id,
            damerau_levenshtein(lower(unknown.queen_id), lower(known.queen_id)) AS distance
        FROM (
            SELECT queen_id, row_number() OVER (ORDER BY queen_id) AS place
            FROM (SELECT DISTINCT queen_id FROM strangers WHERE queen_id IS NOT NULL)
            ANTI JOIN doses_given USING (queen_id)
        ) AS unknown
        LEFT JOIN (SELECT DISTINCT queen_id FROM doses_given) AS known
            ON unknown.place <= 100
            AND abs(len(unknown.queen_id) - len(known.queen_id)) <= 2
    )
    GROUP BY queen_id
),

flat_facts AS (
    SELECT
        doses.ref,
        unnest([
            {
                'column': 'line', 'value': doses.line, 'kept': queens.line
            },
            {
                'column': 'graft_batch',
                'value': doses.graft_batch,
                'kept': queens.graft_batch
            },
            {
                'column': 'emerged_on',
                'value': CAST(doses.emerged_on AS VARCHAR),
                'kept': CAST(queens.emerged_on AS VARCHAR)
            },
            {
                'column': 'marked',
                'value': CASE WHEN doses.marked THEN 'yes' WHEN NOT doses.marked THEN 'no' END,
                'kept': CASE WHEN queens.marked THEN 'yes' WHEN NOT queens.marked THEN 'no' END
            },
            {
                'column': 'drone_line',
                'value': doses.drone_line,
                'kept': semen.drone_line
            },
            {
                'column': 'drone_age_days',
                'value': CAST(doses.drone_age_days AS VARCHAR),
                'kept': CAST(semen.drone_age_days AS VARCHAR)
            },
            {
                'column': 'collected_at',
                'value': CAST(doses.collected_at AS VARCHAR),
                'kept': CAST(semen.collected_at AS VARCHAR)
            },
            {
                'column': 'storage_c',
                'value': CAST(doses.storage_c AS VARCHAR),
                'kept': CAST(semen.storage_c AS VARCHAR)
            }
        ]) AS fact
    FROM doses_given AS doses
    LEFT JOIN queen_facts AS queens USING (course_id)
    LEFT JOIN accepted_semen AS semen ON doses.semen_batch = semen.semen_batch
    WHERE
        -- only a station with one flat sheet fills any of these
        coalesce(
            doses.line, doses.graft_batch, doses.drone_line,
            CAST(doses.emerged_on AS VARCHAR), CAST(doses.marked AS VARCHAR),
            CAST(doses.drone_age_days AS VARCHAR), CAST(doses.collected_at AS VARCHAR),
            CAST(doses.storage_c AS VARCHAR)
        ) IS NOT NULL
),

derived AS (
    SELECT
        doses.ref,
        unnest([
            {
                'column': 'queen_age_days',
                'value': CAST(doses.d0 - queen_facts.emerged_on AS DOUBLE),
                'hard_low': $queen_age_days_low, 'hard_high': $queen_age_days_high,
                'soft_low': $queen_age_days_soft_low, 'soft_high': $queen_age_days_soft_high
            },
            {
                'column': 'drone_age_days',
                'value': CAST(semen_facts.drone_age_days AS DOUBLE),
                'hard_low': $drone_age_days_low, 'hard_high': $drone_age_days_high,
                'soft_low': $drone_age_days_soft_low, 'soft_high': $drone_age_days_soft_high
            },
            {
                'column': 'semen_age_h',
                'value': CAST(semen_facts.semen_age_h AS DOUBLE),
                'hard_low': $semen_age_h_low, 'hard_high': $semen_age_h_high,
                'soft_low': $semen_age_h_soft_low, 'soft_high': $semen_age_h_soft_high
            }
        ]) AS fact
    FROM doses_given AS doses
    INNER JOIN queen_facts USING (course_id)
    INNER JOIN semen_facts USING (course_id)
    WHERE doses.is_main
),

exits_placed AS (
    SELECT exits.ref, exits.left_on, exits.reason, courses.course_id, courses.course_no
    FROM accepted_exits AS exits
    ASOF INNER JOIN courses
        ON exits.queen_id = courses.queen_id AND exits.left_on >= courses.d0
    WHERE exits.left_on <= $as_of
),

gone AS (
    SELECT
        courses.queen_no,
        courses.course,
        courses.d0 + CAST(least(standings.exit_day, standings.end_by) AS INTEGER) AS gone_on
    FROM standings
    INNER JOIN courses USING (course_no)
    WHERE
        standings.window_days IS NULL
        AND coalesce(standings.exit_day, standings.end_by) IS NOT NULL
),

days_placed AS (
    SELECT days.queen_no, days.ref, days.checked_on, coalesce(courses.course, 0) AS course
    FROM queen_days AS days
    SEMI JOIN gone ON days.queen_no = gone.queen_no
    ASOF LEFT JOIN courses
        ON days.queen_no = courses.queen_no AND days.checked_on >= courses.d0
)

SELECT strangers.ref, strangers."table", 'queen_not_inseminated' AS reason,
    'queen_id' AS "column", unknown.queen_id AS value,
    '; the nearest known is ' || unknown.nearest_id AS other
FROM strangers
INNER JOIN unknown_queens AS unknown USING (queen_id)

UNION ALL
SELECT ref, 'inseminations', 'flat_disagrees', fact."column", fact."value", fact.kept
FROM flat_facts
WHERE fact."value" <> fact.kept

UNION ALL
SELECT ref, 'inseminations', 'derived_impossible', fact."column",
    CAST(round(fact."value", 1) AS VARCHAR), NULL
FROM derived
WHERE fact."value" < fact.hard_low OR fact."value" > fact.hard_high

UNION ALL
SELECT ref, 'inseminations', 'derived_unusual', fact."column",
    CAST(round(fact."value", 1) AS VARCHAR), NULL
FROM derived
WHERE
    fact."value" BETWEEN fact.hard_low AND fact.hard_high
    AND (fact."value" < fact.soft_low OR fact."value" > fact.soft_high)

UNION ALL
SELECT ref, 'checks', 'sealed_contradicted', 'sealed', 'no', NULL
FROM queen_days
WHERE sealed_contradicted

UNION ALL
SELECT ref, 'checks', 'older_brood', NULL, CAST(checked_on AS VARCHAR), course_id
FROM evidence
INNER JOIN courses USING (course_no)
WHERE is_older

UNION ALL
SELECT standings.onset_after_ref, 'checks', 'onset_conflict', 'eggs',
    CAST(greatest(0, standings.onset_after) AS VARCHAR), CAST(standings.onset_by AS VARCHAR)
FROM standings
WHERE
    standings.window_days IS NULL
    AND greatest(0, standings.onset_after) >= standings.onset_by
    AND standings.onset_after_ref IS NOT NULL

UNION ALL
SELECT exits.ref, 'exits', 'later_exit', 'left_on', CAST(exits.left_on AS VARCHAR),
    exits.course_id
FROM exits_placed AS exits
INNER JOIN course_exits USING (course_no)
WHERE exits.ref <> course_exits.exit_ref

UNION ALL
SELECT ref, 'exits', 'exit_before_course', 'left_on', CAST(left_on AS VARCHAR), NULL
FROM accepted_exits
SEMI JOIN doses_given USING (queen_id)
WHERE left_on <= $as_of AND ref NOT IN (SELECT ref FROM exits_placed)

UNION ALL
SELECT ref, 'exits', 'exit_without_reason', 'reason', NULL, NULL
FROM accepted_exits
WHERE reason IS NULL AND left_on <= $as_of

UNION ALL
SELECT days.ref, 'checks', 'after_end', 'checked_on', CAST(days.checked_on AS VARCHAR),
    CAST(gone.gone_on AS VARCHAR)
FROM days_placed AS days
INNER JOIN gone ON days.queen_no = gone.queen_no AND days.course = gone.course
WHERE days.checked_on > gone.gone_on
