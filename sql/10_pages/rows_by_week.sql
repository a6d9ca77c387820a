-- grain: one ISO week with a row of the records up to the as-of day.
-- inputs: the accepted tables with a day, quarantine, listed, sources_read. Parameter: as_of.
-- accepted: rows of that week; set_aside: of them, those with a cell that could not be true or
-- read; quarantined: rows in quarantine. A row in quarantine may have no day that can be read:
-- it is counted in the week of the row above it in its file, as files are kept day by day.
WITH dated AS (
    SELECT ref, checked_on AS day FROM accepted_checks
    UNION ALL
    SELECT ref, CAST(inseminated_at AS DATE) FROM accepted_inseminations
    UNION ALL
    SELECT ref, CAST(given_at AS DATE) FROM accepted_co2
    UNION ALL
    SELECT ref, placed_on FROM accepted_placements
    UNION ALL
    SELECT ref, left_on FROM accepted_exits
    UNION ALL
    SELECT ref, emerged_on FROM accepted_queens WHERE emerged_on IS NOT NULL
    UNION ALL
    SELECT ref, CAST(collected_at AS DATE) FROM accepted_semen WHERE collected_at IS NOT NULL
),

lines AS (
    SELECT ref_source(ref) AS source_no, ref_line(ref) AS line, min(day) AS day
    FROM dated
    GROUP BY ALL
),

found AS (
    SELECT DISTINCT sources_read.source_no, quarantine.line, true AS is_lost
    FROM quarantine
    INNER JOIN sources_read USING (source, "table")
    UNION ALL
    SELECT DISTINCT sources_read.source_no, listed.line, false AS is_lost
    FROM listed
    INNER JOIN sources_read USING (source, "table")
    WHERE listed.severity = 'set_aside'
),

placed AS (
    SELECT found.is_lost, lines.day
    FROM found
    ASOF JOIN lines ON lines.source_no = found.source_no AND lines.line <= found.line
),

counted AS (
    SELECT day, 'accepted' AS kind FROM lines
    UNION ALL
    SELECT day, CASE WHEN is_lost THEN 'quarantined' ELSE 'set_aside' END FROM placed
)

SELECT
    strftime(day, '%G-W%V') AS iso_week,
    count(*) FILTER (WHERE kind = 'accepted') AS accepted,
    count(*) FILTER (WHERE kind = 'set_aside') AS set_aside,
    count(*) FILTER (WHERE kind = 'quarantined') AS quarantined
FROM counted
WHERE day <= $as_of
GROUP BY iso_week
ORDER BY iso_week
