-- Grain: a kind of record (queens, checks, exits) and what becomes of it.
-- Inputs: staged_inseminations, staged_checks, staged_exits, accepted_inseminations,
--   accepted_checks, accepted_exits, linked_checks, repeats, quarantine, sources_read.
-- Parameters: as_of; spelled (queens' ids that reach an insemination in another spelling).
-- Units: records: queens by their ids (rows, where the id is empty), else rows. fate: counts,
--   or why not. A check after an exit, and before another insemination, is not hers.
WITH seats AS (
    SELECT DISTINCT s.source_no, ref_of(s.source_no, coalesce(q.slot, 0), q.line) AS ref
    FROM quarantine AS q
    JOIN sources_read AS s ON s.source = q.source AND s."table" = q."table"
), done AS (
    SELECT queen_id, CAST(inseminated_at AS DATE) AS day
    FROM accepted_inseminations
    WHERE CAST(inseminated_at AS DATE) <= $as_of
), first_on AS (
    SELECT queen_id, min(day) AS day FROM done GROUP BY queen_id
), gone AS (
    SELECT e.ref, e.queen_id, e.left_on
    FROM accepted_exits AS e
    JOIN first_on AS f ON f.queen_id = e.queen_id AND e.left_on >= f.day
    WHERE e.left_on <= $as_of
), first_gone AS (
    -- of the exits between two inseminations, only the first ends anything
    SELECT g.ref, g.queen_id, g.left_on, max(d.day) AS day
    FROM gone AS g
    JOIN done AS d ON d.queen_id = g.queen_id AND d.day <= g.left_on
    GROUP BY g.ref, g.queen_id, g.left_on
    QUALIFY row_number() OVER (PARTITION BY g.queen_id, max(d.day) ORDER BY g.left_on, g.ref) = 1
), checked AS (
    SELECT c.ref, l.queen_id, c.checked_on
    FROM accepted_checks AS c
    LEFT JOIN linked_checks AS l USING (ref)
), after_gone AS (
    SELECT DISTINCT c.ref
    FROM checked AS c
    JOIN first_gone AS g ON g.queen_id = c.queen_id AND g.left_on < c.checked_on
    WHERE NOT EXISTS (
        SELECT * FROM done AS d
        WHERE d.queen_id = c.queen_id AND d.day > g.left_on AND d.day <= c.checked_on
    )
), queens AS (
    SELECT
        'queens' AS kind,
        coalesce(i.queen_id, CAST(i.ref AS VARCHAR)) AS one,
        CASE
            WHEN f.queen_id IS NOT NULL THEN 'counts'
            WHEN bool_and(i.ref IN (SELECT ref FROM seats)) THEN 'quarantined'
            ELSE 'later'
        END AS fate
    FROM staged_inseminations AS i
    LEFT JOIN first_on AS f ON f.queen_id = i.queen_id
    GROUP BY one, f.queen_id
), checks AS (
    SELECT
        'checks' AS kind, s.ref,
        CASE
            WHEN s.ref IN (SELECT ref FROM seats) THEN 'quarantined'
            WHEN s.ref IN (SELECT ref FROM repeats) THEN 'repeated'
            WHEN s.checked_on > $as_of THEN 'later'
            WHEN f.queen_id IS NULL AND list_contains($spelled::VARCHAR[], c.queen_id) THEN 'spelled'
            WHEN f.queen_id IS NULL THEN 'not_inseminated'
            WHEN s.checked_on < f.day THEN 'before'
            WHEN a.ref IS NOT NULL THEN 'after'
            ELSE 'counts'
        END AS fate
    FROM staged_checks AS s
    LEFT JOIN checked AS c ON c.ref = s.ref
    LEFT JOIN first_on AS f ON f.queen_id = c.queen_id
    LEFT JOIN after_gone AS a ON a.ref = s.ref
), exits AS (
    SELECT
        'exits' AS kind, s.ref,
        CASE
            WHEN s.ref IN (SELECT ref FROM seats) THEN 'quarantined'
            WHEN s.ref IN (SELECT ref FROM repeats) THEN 'repeated'
            WHEN s.left_on > $as_of THEN 'later'
            WHEN f.queen_id IS NULL AND list_contains($spelled::VARCHAR[], s.queen_id) THEN 'spelled'
            WHEN f.queen_id IS NULL THEN 'not_inseminated'
            WHEN s.left_on < f.day THEN 'before'
            WHEN g.ref IS NULL THEN 'second'
            ELSE 'counts'
        END AS fate
    FROM staged_exits AS s
    LEFT JOIN first_on AS f ON f.queen_id = s.queen_id
    LEFT JOIN first_gone AS g ON g.ref = s.ref
)
SELECT kind, fate, count(*) AS records
FROM (
    SELECT kind, fate FROM queens
    UNION ALL SELECT kind, fate FROM checks
    UNION ALL SELECT kind, fate FROM exits
)
GROUP BY kind, fate
ORDER BY kind, fate
