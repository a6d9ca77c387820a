-- Grain: a source and table whose rows do not add up; there must be none.
-- Inputs: sources, sources_read, staged_refs (ref of every staged row), passed_over.
-- Units: rows; lines counts the different records that the staged rows come from.
WITH each_ref AS (
    -- grouped, and not counted as distinct, which does not go to disk where memory is short
    SELECT ref, count(*) AS staged FROM staged_refs GROUP BY ref
), by_source AS (
    SELECT
        ref_source(ref) AS source_no, sum(staged)::BIGINT AS staged, count(*) AS lines,
        count(*) FILTER (ref IN (SELECT ref FROM passed_over)) AS in_both
    FROM each_ref
    GROUP BY source_no
), counted AS (
    SELECT
        s.source, s."table", s.rows_read, s.accepted, s.quarantined, s.passed_over,
        coalesce(b.staged, 0) AS staged, coalesce(b.lines, 0) AS lines,
        coalesce(b.in_both, 0) AS in_both
    FROM sources AS s
    JOIN sources_read AS r ON r.source = s.source AND r."table" = s."table"
    LEFT JOIN by_source AS b USING (source_no)
)
SELECT source, "table", rows_read, accepted, quarantined, passed_over, staged, lines
FROM counted
WHERE rows_read <> accepted + quarantined + passed_over
    OR rows_read <> staged + passed_over OR staged <> lines OR in_both > 0
ORDER BY source, "table"
