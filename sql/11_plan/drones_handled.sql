-- grain: one row: all semen loads whose drones were counted.
-- inputs: accepted_semen. Sums over the loads that have both figures of a ratio; null
-- where none has. units: uL, drones, loads.
SELECT
    sum(volume_ul ORDER BY semen_batch) FILTER (WHERE drones_handled > 0) AS volume_ul,
    sum(drones_handled) FILTER (WHERE volume_ul IS NOT NULL) AS drones_measured,
    count(*) FILTER (WHERE volume_ul IS NOT NULL AND drones_handled > 0) AS loads_measured,
    sum(drones_yielding) FILTER (WHERE drones_handled > 0) AS drones_yielding,
    sum(drones_handled) FILTER (WHERE drones_yielding IS NOT NULL) AS drones_counted,
    count(*) FILTER (WHERE drones_yielding IS NOT NULL AND drones_handled > 0)
        AS loads_counted
FROM accepted_semen
