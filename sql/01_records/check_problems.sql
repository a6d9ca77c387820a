-- grain: one problem of a row or cell.
-- inputs: quarantine, listed. The gravest kind first.
SELECT
    'quarantined' AS severity, reason, "table", source, line, message
FROM quarantine
UNION ALL
SELECT severity, reason, "table", source, line, message
FROM listed
ORDER BY
    list_position(['quarantined', 'set_aside', 'look'], severity),
    reason, "table", source, line, message
