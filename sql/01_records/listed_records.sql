-- Grain: a second look at an accepted row: one reason, one column.
-- Inputs: findings (of no quarantined row any more), sources_read.
-- Units: line as in quarantine.sql.
SELECT DISTINCT
    s.source, f.ref % 68719476736 AS line, f."table",
    f.severity, f.reason, nullif(f."column", '') AS "column", f.value, f.message
FROM findings AS f
JOIN sources_read AS s ON s.source_no = f.ref // 68719476736
WHERE f.severity <> 'quarantine'
ORDER BY s.source, line, f.reason, "column", f.message
