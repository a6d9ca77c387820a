-- Grain: a source whose rows do not add up; there must be none.
-- Inputs: sources, sources_read, staged_refs (ref of every staged row).
-- Units: rows; lines counts the different lines that the staged rows come from.
WITH counted AS (
    SELECT
        s.source, s.rows_read, s.accepted, s.quarantined,
        count(t.ref) AS staged, count(DISTINCT t.ref) AS lines
    FROM sources AS s
    JOIN sources_read AS r ON r.source = s.source
    LEFT JOIN staged_refs AS t ON t.ref // 68719476736 = r.source_no
    GROUP BY ALL
)
SELECT source, rows_read, accepted, quarantined, staged, lines
FROM counted
WHERE rows_read <> accepted + quarantined OR rows_read <> staged OR rows_read <> lines
ORDER BY source
