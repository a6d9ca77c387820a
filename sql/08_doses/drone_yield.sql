-- grain: one row: what the station's semen batches say of a drone.
-- inputs: accepted_semen. Parameters: as_of. units: uL, drones.
-- volume_ul over volume_drones: from batches that have both; yielding over yield_drones: from
-- batches that have those two. Batches collected after the as-of day are not counted.
WITH collected AS (
    SELECT volume_ul, drones_handled, drones_yielding
    FROM accepted_semen
    WHERE drones_handled > 0 AND (collected_at IS NULL OR collected_at < $as_of + 1)
)

SELECT
    sum(volume_ul ORDER BY volume_ul) AS volume_ul,
    sum(drones_handled) FILTER (WHERE volume_ul IS NOT NULL) AS volume_drones,
    count(volume_ul) AS loads,
    sum(drones_yielding) AS yielding,
    sum(drones_handled) FILTER (WHERE drones_yielding IS NOT NULL) AS yield_drones
FROM collected
