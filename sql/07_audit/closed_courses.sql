-- grain: one closed course of an outcome, in the order of the ids.
-- inputs: outcomes, courses. Parameters: outcome, window_days, grace_days.
-- answer: 1 yes, 0 no, null undecided or left. known_on: the day its window closed, from
-- which on it counts. A text that is missing is empty.
SELECT
    outcomes.course_id,
    CASE outcomes.state WHEN 'yes' THEN 1.0 WHEN 'no' THEN 0.0 END AS answer,
    courses.d0,
    courses.d0 + CAST($window_days + $grace_days AS INTEGER) AS known_on,
    strftime(courses.inseminated_at, '%Y-%m-%dT%H:%M:%S') AS inseminated_at,
    courses.season,
    coalesce(courses.operator, '') AS operator,
    coalesce(courses.graft_batch, '') AS graft_batch,
    coalesce(courses.semen_batch, '') AS semen_batch,
    courses.operator_case
FROM outcomes
INNER JOIN courses USING (course_id)
WHERE
    outcomes.outcome = $outcome
    AND outcomes.window_days = $window_days
    AND outcomes.closed
ORDER BY outcomes.course_id
