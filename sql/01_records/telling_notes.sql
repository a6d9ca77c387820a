-- Grain: a remark at a check or an insemination, as it is written.
-- Inputs: linked_checks, accepted_inseminations, accepted_exits.
-- Parameters: longest (signs; a longer remark is a sentence, and no word).
-- Units: remarks: so many; ref: the first row; exits: the reasons that her exits have;
--        drones: whether each stands at a check with drone brood in worker cells.
WITH remarks AS (
    SELECT ref, queen_id, note, coalesce(drone_in_worker <> 'none', false) AS drones
    FROM linked_checks
    UNION ALL
    SELECT ref, queen_id, note, false FROM accepted_inseminations
), ended AS (
    SELECT queen_id, list_sort(list(DISTINCT reason)) AS reasons
    FROM accepted_exits
    WHERE reason IS NOT NULL
    GROUP BY queen_id
)
SELECT
    r.note, coalesce(e.reasons, []) AS exits, bool_and(r.drones) AS drones,
    count(*) AS remarks, min(r.ref) AS ref
FROM remarks AS r
LEFT JOIN ended AS e USING (queen_id)
WHERE r.note IS NOT NULL AND length(r.note) <= $longest
GROUP BY r.note, exits, r.drones
ORDER BY remarks DESC, ref
