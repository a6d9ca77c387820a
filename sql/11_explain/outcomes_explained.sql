-- grain: one outcome x window of the courses of the queens asked for, with the rule that
--   settled it.
-- inputs: outcomes, courses, window_facts, answers (of every outcome's own file, which
--   holds its sentences). Parameter: queens (a list of ids).
SELECT
    outcomes.course_id,
    outcomes.outcome,
    outcomes.window_days,
    outcomes.state,
    CASE WHEN outcomes.closed THEN 'closed' ELSE 'open' END AS "window",
    CASE
        WHEN outcomes."after" IS NULL THEN ''
        ELSE '(' || outcomes."after" || ', ' || coalesce(CAST(outcomes."by" AS VARCHAR), 'not by then')
            || ']'
    END AS "interval",
    CASE
        WHEN outcomes.state = 'undecided' AND NOT outcomes.closed THEN 'not settled yet'
        WHEN
            outcomes.state = 'undecided'
            AND outcomes."after" < outcomes.window_days
            AND outcomes."by" > outcomes.window_days
            THEN 'the looks leave it open on which side of day ' || outcomes.window_days
        WHEN outcomes.state = 'undecided' THEN 'no look at the right time'
        WHEN outcomes.state = 'left' AND facts.is_out
            THEN 'left observation, or inseminated again, before day ' || outcomes.window_days
        WHEN outcomes.state = 'left' THEN 'her end came first: ' || facts.end_reason
        WHEN answers.state <> outcomes.state THEN 'the settings have changed since this build'
        ELSE answers.why
    END AS rule,
    array_to_string(outcomes.settled_by, ', ') AS settled_by
FROM outcomes
INNER JOIN courses USING (course_id)
INNER JOIN window_facts AS facts USING (course_no, window_days)
INNER JOIN answers USING (course_no, window_days, outcome)
SEMI JOIN (SELECT unnest($queens) AS queen_id) AS asked ON courses.queen_id = asked.queen_id
ORDER BY courses.queen_id, courses.course, outcomes.outcome, outcomes.window_days
