-- grain: one problem of a row or cell.
-- inputs: quarantine, listed. The gravest kind first.
SELECT
    severity, reason, "table", "column", source,
    line || coalesce('/' || slot, '') AS line, message
FROM (
    SELECT 'quarantined' AS severity, reason, "table", "column", source, line, slot, message
    FROM quarantine
    UNION ALL
    SELECT severity, reason, "table", "column", source, line, slot, message
    FROM listed
) AS told
ORDER BY
    list_position(['quarantined', 'set_aside', 'look'], severity),
    reason, "table", "column", source, told.line, slot NULLS FIRST, message
