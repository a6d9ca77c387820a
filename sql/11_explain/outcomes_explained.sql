-- grain: one outcome x window of the courses of the queens asked for, with the rule that
--   settled it.
-- inputs: outcomes, answers, courses. Parameter: queens (a list of ids).
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
        WHEN outcomes.state = 'left' AND answers.is_out
            THEN 'left observation, or inseminated again, before day ' || outcomes.window_days
        WHEN outcomes.state = 'left' THEN 'her end came first: ' || answers.end_reason
        WHEN outcomes.outcome = 'laying' AND outcomes.state = 'yes'
            THEN 'brood dates the onset to day ' || answers.onset_by || ' at the latest'
        WHEN outcomes.outcome = 'laying' AND answers.onset_after >= outcomes.window_days
            THEN 'no brood of hers up to day ' || answers.onset_after
        WHEN outcomes.outcome = 'laying' AND answers.is_ended
            THEN 'gone by day ' || answers.end_by || ' without brood of hers'
        WHEN outcomes.outcome = 'laying' THEN 'inseminated again without brood of hers'
        WHEN outcomes.outcome = 'pattern' THEN 'the last pattern scored'
        WHEN outcomes.outcome = 'drone_layer' AND outcomes.state = 'yes'
            THEN 'drone brood, or an exit as drone-layer, by day ' || answers.drone_by
        WHEN outcomes.outcome = 'drone_layer'
            THEN 'sealed brood without many drone cells on day ' || answers.calm_day
        WHEN outcomes.outcome = 'superseded' AND outcomes.state = 'yes'
            THEN 'superseded by day ' || answers.end_by
        WHEN outcomes.outcome = 'superseded' THEN 'she herself was still there later'
        WHEN outcomes.outcome = 'lost' AND outcomes.state = 'yes'
            THEN answers.end_reason || ' by day ' || answers.end_by
        WHEN outcomes.outcome = 'lost' THEN 'she was there on day ' || answers.last_there_day
        WHEN outcomes.state = 'yes'
            THEN 'laying, and there on day ' || answers.last_there_day
        WHEN answers.is_ended THEN 'gone by day ' || answers.end_by || ': ' || answers.end_reason
        WHEN answers.laying = 'no' THEN 'not laying in time'
        WHEN answers.drone_by <= outcomes.window_days THEN 'drone-layer by day ' || answers.drone_by
        ELSE 'her pattern was poor'
    END AS rule,
    array_to_string(outcomes.settled_by, ', ') AS settled_by
FROM outcomes
INNER JOIN courses USING (course_id)
INNER JOIN answers USING (course_no, window_days)
SEMI JOIN (SELECT unnest($queens) AS queen_id) AS asked ON courses.queen_id = asked.queen_id
ORDER BY courses.queen_id, courses.course, outcomes.outcome, outcomes.window_days
