-- Grain: a source, which is a file or a sheet of a workbook, and a table it is read as.
-- Inputs: sources_read, accepted_refs (ref of every accepted row), quarantine,
--         listed_records, passed_over.
-- Units: rows; of a row that holds several records, each of them. A repeated row is
--        accepted, though it stands in no accepted table.
WITH accepted AS (
    SELECT ref_source(ref) AS source_no, count(*) AS number
    FROM accepted_refs
    GROUP BY 1
), quarantined AS (
    SELECT source, "table", count(DISTINCT ref_of(0, coalesce(slot, 0), line)) AS number
    FROM quarantine
    GROUP BY ALL
), repeated AS (
    SELECT source, "table", count(DISTINCT ref_of(0, coalesce(slot, 0), line)) AS number
    FROM listed_records
    WHERE reason = 'repeated_row'
    GROUP BY ALL
), passed AS (
    SELECT ref_source(ref) AS source_no, count(*) AS number FROM passed_over GROUP BY 1
)
SELECT
    s.source, s."table", s.sha256, s.rows_read,
    coalesce(a.number, 0) + coalesce(r.number, 0) AS accepted,
    coalesce(q.number, 0) AS quarantined,
    coalesce(p.number, 0) AS passed_over,
    coalesce(r.number, 0) AS repeated
FROM sources_read AS s
LEFT JOIN accepted AS a ON a.source_no = s.source_no
LEFT JOIN quarantined AS q ON q.source = s.source AND q."table" = s."table"
LEFT JOIN repeated AS r ON r.source = s.source AND r."table" = s."table"
LEFT JOIN passed AS p ON p.source_no = s.source_no
ORDER BY s.source, s."table"
