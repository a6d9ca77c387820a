-- Grain: a quarantined row and one reason for it.
-- Inputs: findings, sources_read, quarantined_text.
-- Units: line is the first physical line, sheet row or row number; slot the part of a
--        sheet's row that is a record of its own (NULL: the whole row is one); row is JSON of the
--        row's text as it was read.
SELECT
    s.source, ref_line(f.ref) AS line, ref_slot(f.ref) AS slot, f."table",
    f.reason, nullif(f."column", '') AS "column", f.value, f.message, t.row
FROM findings AS f
JOIN sources_read AS s ON s.source_no = ref_source(f.ref)
LEFT JOIN quarantined_text AS t ON t.ref = f.ref
WHERE f.severity = 'quarantine'
ORDER BY s.source, line, slot NULLS FIRST, f.reason, f."column"
