-- grain: one row of the records about the queens asked for, oldest first; a row of a flat
--   sheet stands once for each thing it tells (a queen's emergence, another exposure).
-- inputs: accepted_*, linked_checks, quarantine, sources_read, courses. Parameters: queens (a list of
--   ids), as_of, sources (names in the order of their numbers; a ref is number * 2^36 + line).
-- day: days after the day 0 of the course the row belongs to; null before the first.
-- event: what the row tells, in one word. until: last day of a stay in a colony.
WITH asked AS (SELECT DISTINCT unnest($queens) AS queen_id),

semen_used AS (
    SELECT DISTINCT queen_id, semen_batch
    FROM accepted_inseminations
    SEMI JOIN asked USING (queen_id)
    WHERE semen_batch IS NOT NULL
),

told AS (
    SELECT
        queen_id, 'queens' AS "table", 'emerged' AS event, ref,
        CAST(emerged_on AS TIMESTAMP) AS stamp, CAST(NULL AS DATE) AS "until",
        concat_ws(
            ', ', 'emerged ' || emerged_on, 'line ' || line, 'graft ' || graft_batch,
            CASE WHEN marked THEN 'marked' WHEN NOT marked THEN 'not marked' END, mark
        ) AS says
    FROM accepted_queens
    UNION ALL
    (
        SELECT
            queen_id, 'inseminations', 'emerged', ref, CAST(emerged_on AS TIMESTAMP), NULL,
            'emerged ' || emerged_on
        FROM accepted_inseminations
        ANTI JOIN accepted_queens USING (queen_id)
        WHERE emerged_on IS NOT NULL
        QUALIFY row_number() OVER (
            PARTITION BY queen_id ORDER BY inseminated_at, ref
        ) = 1
    )
    UNION ALL
    SELECT
        semen_used.queen_id, 'semen', 'semen', ref, collected_at, NULL,
        concat_ws(
            ', ', 'semen ' || semen_batch, 'drone line ' || drone_line,
            volume_ul || ' uL', 'from ' || drones_yielding || ' drones',
            'handled ' || drones_handled
        )
    FROM accepted_semen
    INNER JOIN semen_used USING (semen_batch)
    UNION ALL
    SELECT
        queen_id, 'inseminations', 'inseminated', ref, inseminated_at, NULL,
        concat_ws(
            ', ', coalesce('inseminated by ' || operator, 'inseminated'), dose_ul || ' uL',
            'meant ' || dose_meant_ul || ' uL', 'semen ' || semen_batch,
            'protocol ' || protocol, attempts || CASE attempts WHEN 1 THEN ' attempt' ELSE ' attempts' END, 'leak ' || leak, note
        )
    FROM accepted_inseminations
    UNION ALL
    SELECT
        queen_id, 'co2', 'co2', ref, given_at, NULL,
        concat_ws(', ', 'CO2 exposure', minutes || ' min')
    FROM accepted_co2
    UNION ALL
    SELECT
        queen_id, 'inseminations', 'co2', ref, co2_other_at, NULL,
        concat_ws(', ', 'CO2 exposure', co2_other_minutes || ' min')
    FROM accepted_inseminations
    WHERE co2_other_at IS NOT NULL
    UNION ALL
    SELECT
        queen_id, 'placements', 'placed', ref, CAST(placed_on AS TIMESTAMP), removed_on,
        concat_ws(
            ', ', 'placed in ' || colony_id, method,
            CASE WHEN brood_present THEN 'brood of another queen there' END,
            'removed ' || removed_on
        )
    FROM accepted_placements
    UNION ALL
    SELECT
        queen_id, 'checks', 'checked', ref, CAST(checked_on AS TIMESTAMP), NULL,
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
    UNION ALL
    SELECT
        queen_id, 'exits', 'left', ref, CAST(left_on AS TIMESTAMP), NULL,
        'left observation: ' || coalesce(reason, 'no reason given')
    FROM accepted_exits
    UNION ALL
    SELECT
        queen_id, 'lab', 'sampled', ref, CAST(sampled_on AS TIMESTAMP), NULL,
        concat_ws(
            ', ', 'spermatheca', sperm_millions || ' million sperm', viability_pct || ' % live'
        )
    FROM accepted_lab
),

named AS (
    -- the queens that a quarantined row's own text names
    SELECT
        ref_of(read.source_no, coalesce(slot, 0), line) AS ref, "table", reason, message,
        unnest(list_distinct(json_extract_string("row", '$.*'))) AS queen_id
    FROM quarantine
    INNER JOIN sources_read AS read USING (source, "table")
),

rows_of_hers AS (
    SELECT
        told.queen_id,
        CAST(told.stamp AS DATE) AS "on",
        CASE
            WHEN told.event NOT IN ('emerged', 'semen') THEN CAST(told.stamp AS DATE) - courses.d0
        END AS day,
        told.ref,
        ref_place($sources, told.ref) AS source,
        told."table",
        told.event,
        told."until",
        told.says
            || CASE WHEN CAST(told.stamp AS DATE) > $as_of THEN ' (after the as-of day: not used)'
                ELSE '' END AS says,
        told.stamp
    FROM (SELECT * FROM told SEMI JOIN asked USING (queen_id)) AS told
    ASOF LEFT JOIN courses
        ON told.queen_id = courses.queen_id AND CAST(told.stamp AS DATE) >= courses.d0
    UNION ALL
    SELECT
        queen_id, NULL, NULL,
        ref, ref_place($sources, ref), "table",
        'quarantined', NULL,
        'quarantined: ' || string_agg(message, ' ' ORDER BY reason), NULL
    FROM named
    SEMI JOIN asked USING (queen_id)
    GROUP BY queen_id, ref, "table"
)

SELECT queen_id, "on", day, ref, source, "table", event, "until", says
FROM rows_of_hers
ORDER BY queen_id, stamp NULLS LAST, "table", source, event, says
