-- grain: one source file or sheet and the table it holds.
-- inputs: sources, listed. Rows read, accepted, quarantined and passed over, cells set aside, and rows
-- worth a second look.
SELECT
    source, "table", rows_read AS read, accepted, quarantined, passed_over AS "passed over",
    (
        SELECT count(*) FROM listed
        WHERE listed.source = sources.source
            AND listed."table" = sources."table"
            AND severity = 'set_aside'
    ) AS "set aside",
    (
        SELECT count(*) FROM listed
        WHERE listed.source = sources.source
            AND listed."table" = sources."table"
            AND severity = 'look'
    ) AS look
FROM sources
ORDER BY source, "table"
