-- grain: one kind (quarantine, listed) x table x reason x severity, with how often it was found.
-- inputs: quarantine, listed. Parameter: most (examples given). severity: null in quarantine.
-- Of what is listed, what was set aside comes first, and what only waits for its day last.
WITH found AS (
    SELECT 'quarantine' AS kind, "table", reason, NULL AS severity, source, line, slot, message
    FROM quarantine
    UNION ALL
    SELECT 'listed' AS kind, "table", reason, severity, source, line, slot, message
    FROM listed
)

SELECT
    kind,
    "table",
    reason,
    severity,
    count(*) AS found,
    list(
        {
            'source': source,
            'line': line || coalesce('/' || slot, ''),
            'message': message
        }
        ORDER BY source, line, slot NULLS FIRST
    )[1:$most] AS examples
FROM found
GROUP BY kind, "table", reason, severity
ORDER BY
    kind,
    kind = 'listed' AND reason = 'after_as_of',
    coalesce(severity = 'look', false),
    found DESC,
    "table",
    reason
