-- Grain: a second look at an accepted row: one reason, one column.
-- Inputs: findings (of no quarantined row any more), sources_read.
-- Units: line as in quarantine.sql.
SELECT DISTINCT
    s.source, ref_line(f.ref) AS line, ref_slot(f.ref) AS slot, f."table",
    f.severity, f.reason, nullif(f."column", '') AS "column", f.value, f.message
FROM findings AS f
JOIN sources_read AS s ON s.source_no = ref_source(f.ref)
WHERE f.severity <> 'quarantine'
ORDER BY s.source, line, slot NULLS FIRST, f.reason, "column", f.message
