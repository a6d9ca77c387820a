-- Grain: a source most of whose rows stand word for word in another source of its table.
-- Inputs: repeats (ref, first), sources.
-- Parameters: share (of its rows, to be most of them), fewest (rows of a source).
SELECT
    one.source, other.source AS original, one."table", s.rows_read,
    count(*) AS repeated, min(r.ref) AS ref
FROM repeats AS r
JOIN sources_read AS one ON one.source_no = ref_source(r.ref)
JOIN sources_read AS other ON other.source_no = ref_source(r."first")
JOIN sources AS s ON s.source = one.source AND s."table" = one."table"
WHERE one.source <> other.source
GROUP BY ALL
HAVING count(*) >= $fewest AND count(*) >= $share * (s.rows_read - s.passed_over)
ORDER BY one.source, original, one."table"
