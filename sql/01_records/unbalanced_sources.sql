-- Grain: a source and table whose rows do not add up; there must be none.
-- Inputs: sources, sources_read, staged_refs (ref of every staged row), passed_over.
-- Units: rows; lines counts the different records that the staged rows come from.
WITH counted AS (
    SELECT
        s.source, s."table", s.rows_read, s.accepted, s.quarantined, s.passed_over,
        count(t.ref) AS staged, count(DISTINCT t.ref) AS lines,
        count(t.ref) FILTER (t.ref IN (SELECT ref FROM passed_over)) AS in_both
    FROM sources AS s
    JOIN sources_read AS r ON r.source = s.source AND r."table" = s."table"
    LEFT JOIN staged_refs AS t ON ref_source(t.ref) = r.source_no
    GROUP BY ALL
)
SELECT source, "table", rows_read, accepted, quarantined, passed_over, staged, lines
FROM counted
WHERE rows_read <> accepted + quarantined + passed_over
    OR rows_read <> staged + passed_over OR staged <> lines OR in_both > 0
ORDER BY source, "table"
