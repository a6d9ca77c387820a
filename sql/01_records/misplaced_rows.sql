-- Grain: a table with a row that is not in exactly one of accepted and quarantined;
--        there must be none.
-- Inputs: staged_refs, accepted_refs (table and ref of every such row), quarantine,
--         listed_records, sources_read.
-- Units: rows; lost: in neither. doubled: in both, or quarantined and repeated.
WITH other AS (
    SELECT ref_of(s.source_no, coalesce(q.slot, 0), q.line) AS ref, q."table", 'quarantined' AS is_in
    FROM quarantine AS q
    JOIN sources_read AS s ON s.source = q.source AND s."table" = q."table"
    UNION
    SELECT ref_of(s.source_no, coalesce(l.slot, 0), l.line), l."table", 'repeated'
    FROM listed_records AS l
    JOIN sources_read AS s ON s.source = l.source AND s."table" = l."table"
    WHERE l.reason = 'repeated_row'
), found AS (
    SELECT "table", 1 AS lost, 0 AS doubled
    FROM staged_refs AS s
    WHERE NOT EXISTS (SELECT * FROM accepted_refs AS a WHERE a.ref = s.ref)
        AND NOT EXISTS (SELECT * FROM other AS o WHERE o.ref = s.ref)
    UNION ALL
    SELECT "table", 0, 1 FROM accepted_refs WHERE ref IN (SELECT ref FROM other)
    UNION ALL
    SELECT "table", 0, count(*) - 1 FROM other GROUP BY "table", ref HAVING count(*) > 1
)
SELECT "table", sum(lost)::BIGINT AS lost, sum(doubled)::BIGINT AS doubled
FROM found
GROUP BY "table"
ORDER BY "table"
