-- grain: one row of the records about one queen, oldest first.
-- inputs: accepted_*, linked_checks, quarantine, courses. Parameters: queen_id, as_of,
--   sources (names in the order of their numbers; a ref is number * 2^36 + line).
-- day: days after the day 0 of the course the row belongs to; null before the first.
WITH semen_used AS (
    SELECT DISTINCT semen_batch
    FROM accepted_inseminations
    WHERE queen_id = $queen_id AND semen_batch IS NOT NULL
),

told AS (
    SELECT
        'queens' AS "table", ref, CAST(emerged_on AS TIMESTAMP) AS stamp,
        concat_ws(
            ', ', 'emerged ' || emerged_on, 'line ' || line, 'graft ' || graft_batch,
            CASE WHEN marked THEN 'marked' WHEN NOT marked THEN 'not marked' END, mark
        ) AS says
    FROM accepted_queens
    WHERE queen_id = $queen_id
    UNION ALL
    SELECT
        'semen', ref, collected_at,
        concat_ws(
            ', ', 'semen ' || semen_batch, 'drone line ' || drone_line,
            volume_ul || ' uL', 'from ' || drones_yielding || ' drones',
            'handled ' || drones_handled
        )
    FROM accepted_semen
    SEMI JOIN semen_used USING (semen_batch)
    UNION ALL
    SELECT
        'inseminations', ref, inseminated_at,
        concat_ws(
            ', ', 'inseminated by ' || operator, dose_ul || ' uL',
            'meant ' || dose_meant_ul || ' uL', 'semen ' || semen_batch,
            'protocol ' || protocol, attempts || ' attempts', 'leak ' || leak, note
        )
    FROM accepted_inseminations
    WHERE queen_id = $queen_id
    UNION ALL
    SELECT 'co2', ref, given_at, concat_ws(', ', 'CO2 exposure', minutes || ' min')
    FROM accepted_co2
    WHERE queen_id = $queen_id
    UNION ALL
    SELECT
        'placements', ref, CAST(placed_on AS TIMESTAMP),
        concat_ws(
            ', ', 'placed in ' || colony_id, method,
            CASE WHEN brood_present THEN 'brood of another queen there' END,
            'removed ' || removed_on
        )
    FROM accepted_placements
    WHERE queen_id = $queen_id
    UNION ALL
    SELECT
        'checks', ref, CAST(checked_on AS TIMESTAMP),
        concat_ws(
            ', ', 'in ' || colony_id,
            CASE WHEN queen_seen THEN 'queen seen' WHEN NOT queen_seen THEN 'queen not seen' END,
            CASE WHEN mark_seen THEN 'mark seen' WHEN NOT mark_seen THEN 'without her mark' END,
            CASE WHEN eggs THEN 'eggs' WHEN NOT eggs THEN 'no eggs' END,
            CASE WHEN larvae THEN 'larvae' WHEN NOT larvae THEN 'no larvae' END,
            CASE WHEN sealed THEN 'sealed' WHEN NOT sealed THEN 'no sealed' END,
            'pattern ' || pattern_pct || ' %', 'drone in worker ' || drone_in_worker,
            CASE WHEN brood_given THEN 'brood given' END,
            CASE WHEN multiple_eggs THEN 'several eggs to a cell' END,
            'queen cells ' || queen_cells, note
        )
    FROM linked_checks
    WHERE queen_id = $queen_id
    UNION ALL
    SELECT
        'exits', ref, CAST(left_on AS TIMESTAMP),
        'left observation: ' || coalesce(reason, 'no reason given')
    FROM accepted_exits
    WHERE queen_id = $queen_id
    UNION ALL
    SELECT
        'lab', ref, CAST(sampled_on AS TIMESTAMP),
        concat_ws(
            ', ', 'spermatheca', sperm_millions || ' million sperm', viability_pct || ' % live'
        )
    FROM accepted_lab
    WHERE queen_id = $queen_id
),

rows_of_hers AS (
    SELECT
        CAST(told.stamp AS DATE) AS "on",
        CASE WHEN told."table" NOT IN ('queens', 'semen') THEN CAST(told.stamp AS DATE) - courses.d0
        END AS day,
        $sources[told.ref // 68719476736] || ':' || (told.ref % 68719476736) AS source,
        told."table",
        told.says
            || CASE WHEN CAST(told.stamp AS DATE) > $as_of THEN ' (after the as-of day: not used)'
                ELSE '' END AS says,
        told.stamp
    FROM (SELECT *, $queen_id AS queen_id FROM told) AS told
    ASOF LEFT JOIN courses
        ON told.queen_id = courses.queen_id AND CAST(told.stamp AS DATE) >= courses.d0
    UNION ALL
    SELECT
        NULL, NULL, source || ':' || line, "table",
        'quarantined: ' || string_agg(message, ' ' ORDER BY reason), NULL
    FROM quarantine
    WHERE contains("row", CAST(to_json(CAST($queen_id AS VARCHAR)) AS VARCHAR))
    GROUP BY source, line, "table"
)

SELECT "on", day, source, "table", says
FROM rows_of_hers
ORDER BY stamp NULLS LAST, "table", source, says
