-- grain: one outcome x window x grouping x level x graft batch (cluster).
-- inputs: outcomes, course_groups. Counts of courses by state; all but `open` are closed.
-- Parameters: outcome, window_days (null: all questions; grouping by all sets at once does
-- not go to disk where memory is short, so that many courses are counted by question).
SELECT
    outcomes.outcome,
    outcomes.window_days,
    CASE
        WHEN GROUPING(groups."all") = 0 THEN 'all'
        WHEN GROUPING(groups.iso_week) = 0 THEN 'iso_week'
        WHEN GROUPING(groups."month") = 0 THEN 'month'
        WHEN GROUPING(groups.operator) = 0 THEN 'operator'
        WHEN GROUPING(groups.protocol) = 0 THEN 'protocol'
        WHEN GROUPING(groups.instrument) = 0 THEN 'instrument'
        WHEN GROUPING(groups.tip) = 0 THEN 'tip'
        WHEN GROUPING(groups.line) = 0 THEN 'line'
        WHEN GROUPING(groups.drone_line) = 0 THEN 'drone_line'
        WHEN GROUPING(groups.semen_batch) = 0 THEN 'semen_batch'
        WHEN GROUPING(groups.graft_batch) = 0 THEN 'graft_batch'
        WHEN GROUPING(groups.co2_schedule) = 0 THEN 'co2_schedule'
        WHEN GROUPING(groups.doses) = 0 THEN 'doses'
        ELSE 'season'
    END AS "grouping",
    coalesce(
        groups."all", groups.iso_week, groups."month", groups.operator, groups.protocol,
        groups.instrument, groups.tip, groups.line, groups.drone_line, groups.semen_batch, groups.graft_batch,
        groups.co2_schedule, groups.doses, groups.season
    ) AS level,
    groups.cluster,
    count(*) FILTER (WHERE NOT outcomes.closed) AS open,
    count(*) FILTER (WHERE outcomes.closed AND outcomes.state = 'yes') AS yes,
    count(*) FILTER (WHERE outcomes.closed AND outcomes.state = 'no') AS "no",
    count(*) FILTER (WHERE outcomes.closed AND outcomes.state = 'undecided') AS undecided,
    count(*) FILTER (WHERE outcomes.closed AND outcomes.state = 'left') AS "left"
FROM outcomes
INNER JOIN course_groups AS groups USING (course_id)
WHERE
    $outcome IS NULL
    OR (outcomes.outcome = $outcome AND outcomes.window_days = $window_days)
GROUP BY
    outcomes.outcome,
    outcomes.window_days,
    groups.cluster,
    GROUPING SETS (
        (groups."all"), (groups.iso_week), (groups."month"), (groups.operator),
        (groups.protocol), (groups.instrument), (groups.tip), (groups.line), (groups.drone_line), (groups.semen_batch),
        (groups.graft_batch), (groups.co2_schedule), (groups.doses), (groups.season)
    )
