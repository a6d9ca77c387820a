-- Grain: a remark at a check or an insemination, as it is written, of queens with the same exits.
-- Inputs: linked_checks, accepted_inseminations, accepted_exits, sources_read,
--   passed_notes (ref, queen_id, note: of rows that are no check for want of a look).
-- Units: refs: its rows; queens: theirs, null where none is named; exits: the
--        reasons that her exits have; drones: whether in each row a check has drone brood in
--        worker cells. What two tables read of one row is one remark.
WITH remarks AS (
    SELECT ref, queen_id, note, coalesce(drone_in_worker <> 'none', false) AS drones
    FROM linked_checks
    UNION ALL
    SELECT ref, queen_id, note, false FROM accepted_inseminations
    UNION ALL
    SELECT ref, queen_id, note, false FROM passed_notes
), of_rows AS (
    SELECT
        s.source, ref_line(r.ref) AS line, r.note, min(r.ref) AS ref,
        max(r.queen_id) AS queen_id,
        -- a remark that is read as a look says so in a check of its own
        bool_or(bool_or(r.drones)) OVER (PARTITION BY s.source, ref_line(r.ref)) AS drones
    FROM remarks AS r
    JOIN sources_read AS s ON s.source_no = ref_source(r.ref)
    GROUP BY s.source, ref_line(r.ref), r.note
), ended AS (
    SELECT queen_id, list_sort(list(DISTINCT reason)) AS reasons
    FROM accepted_exits
    WHERE reason IS NOT NULL
    GROUP BY queen_id
)
SELECT
    r.note, coalesce(e.reasons, []) AS exits, bool_and(r.drones) AS drones,
    list(r.ref ORDER BY r.ref) AS refs, list(r.queen_id ORDER BY r.ref) AS queens
FROM of_rows AS r
LEFT JOIN ended AS e USING (queen_id)
WHERE r.note IS NOT NULL
GROUP BY r.note, exits, r.drones
ORDER BY len(refs) DESC, refs[1]
