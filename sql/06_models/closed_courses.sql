-- grain: one closed course of an outcome, in the order of the ids.
-- inputs: courses, onset, and the table named by answers: outcomes, or outcomes_from_first
-- for answers by the clock of the first insemination.
-- Parameters: answers, outcome, window_days, grace_days (days).
-- state: yes, no, undecided or left. laid: her brood was seen by the window's end.
-- known_on: the day its window closed, from which on it counts. laid, d0 and known_on are
-- by the clock of the last insemination whichever answers are read.
SELECT
    answers.course_id,
    answers.state,
    coalesce(onset."by" <= answers.window_days, false) AS laid,
    courses.d0,
    courses.d0 + CAST($window_days + $grace_days AS INTEGER) AS known_on,
    strftime(courses.inseminated_at, '%Y-%m-%dT%H:%M:%S') AS inseminated_at
FROM query_table($answers) AS answers
INNER JOIN courses USING (course_id)
LEFT JOIN onset USING (course_id)
WHERE
    answers.outcome = $outcome
    AND answers.window_days = $window_days
    AND answers.closed
ORDER BY answers.course_id
