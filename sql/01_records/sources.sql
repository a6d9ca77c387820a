-- Grain: a source: a file, or a sheet of a workbook.
-- Inputs: sources_read, accepted_refs (ref of every accepted row), quarantine,
--         listed_records.
-- Units: rows. A repeated row is accepted, though it stands in no accepted table.
WITH accepted AS (
    SELECT ref // 68719476736 AS source_no, count(*) AS number
    FROM accepted_refs
    GROUP BY 1
), quarantined AS (
    SELECT source, count(DISTINCT line) AS number FROM quarantine GROUP BY 1
), repeated AS (
    SELECT source, count(DISTINCT line) AS number
    FROM listed_records
    WHERE reason = 'repeated_row'
    GROUP BY 1
)
SELECT
    s.source, s."table", s.sha256, s.rows_read,
    coalesce(a.number, 0) + coalesce(r.number, 0) AS accepted,
    coalesce(q.number, 0) AS quarantined,
    coalesce(r.number, 0) AS repeated
FROM sources_read AS s
LEFT JOIN accepted AS a ON a.source_no = s.source_no
LEFT JOIN quarantined AS q ON q.source = s.source
LEFT JOIN repeated AS r ON r.source = s.source
ORDER BY s.source
