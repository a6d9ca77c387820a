-- grain: one season, in order.
-- inputs: courses, accepted_semen. What the station raised in it.
-- queens: inseminated. drones: handled for the semen used; null where none was counted.
WITH used AS (
    SELECT courses.season, semen.semen_batch, semen.drones_handled
    FROM courses
    INNER JOIN accepted_semen AS semen USING (semen_batch)
    GROUP BY ALL
),

handled AS (
    SELECT season, CAST(sum(drones_handled) AS BIGINT) AS drones
    FROM used
    GROUP BY season
)

SELECT courses.season, count(*) AS queens, any_value(handled.drones) AS drones
FROM courses
LEFT JOIN handled USING (season)
GROUP BY courses.season
ORDER BY courses.season
