-- Grain: a quarantined row and one reason for it.
-- Inputs: findings, sources_read, quarantined_text.
-- Units: line is the first physical line, sheet row or row number; row is JSON of the
--        row's text as it was read.
SELECT
    s.source, f.ref % 68719476736 AS line, f."table",
    f.reason, nullif(f."column", '') AS "column", f.value, f.message, t.row
FROM findings AS f
JOIN sources_read AS s ON s.source_no = f.ref // 68719476736
LEFT JOIN quarantined_text AS t ON t.ref = f.ref
WHERE f.severity = 'quarantine'
ORDER BY s.source, line, f.reason, f."column"
