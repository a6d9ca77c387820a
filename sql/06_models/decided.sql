-- grain: one closed course of an outcome, in the order of the ids.
-- inputs: outcomes, onset, courses. Parameters: outcome, window_days.
-- answer: 1 yes, 0 no, null undecided or left. laid: her brood was seen by the window's
-- end. month: of day 0.
SELECT
    outcomes.course_id,
    CASE outcomes.state WHEN 'yes' THEN 1.0 WHEN 'no' THEN 0.0 END AS answer,
    coalesce(onset."by" <= outcomes.window_days, false) AS laid,
    strftime(courses.d0, '%Y-%m') AS "month"
FROM outcomes
INNER JOIN courses USING (course_id)
LEFT JOIN onset USING (course_id)
WHERE
    outcomes.outcome = $outcome
    AND outcomes.window_days = $window_days
    AND outcomes.closed
ORDER BY outcomes.course_id
