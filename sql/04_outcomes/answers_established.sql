-- grain: one course x window. inputs: window_facts, answers_laying, answers_pattern.
-- outcome: is she a working queen on the window's last day?
-- state: yes, no, undecided, left; no outranks yes. after, by: null, a state has no date.
-- refs: the deciding rows. why: what settled a yes or a no.
SELECT
    course_no,
    window_days,
    closed,
    CASE
        WHEN laying = 'no' OR is_ended OR drone_by <= window_days OR pattern = 'no'
            THEN 'no'
        WHEN laying = 'yes' AND last_there_day >= window_days THEN 'yes'
        WHEN is_out THEN 'left'
        ELSE 'undecided'
    END AS state,
    NULL AS "after",
    NULL AS "by",
    CASE
        WHEN state = 'yes' THEN {'a': onset_by_ref, 'b': last_there_ref, 'c': pattern_ref}
        WHEN state = 'left' THEN {'a': out_ref, 'b': NULL, 'c': NULL}
        WHEN is_ended THEN {'a': end_ref, 'b': end_second_ref, 'c': NULL}
        WHEN laying = 'no' THEN laying_refs
        WHEN drone_by <= window_days THEN {'a': drone_by_ref, 'b': NULL, 'c': NULL}
        ELSE {'a': pattern_ref, 'b': NULL, 'c': NULL}
    END AS refs,
    CASE
        WHEN state = 'yes' THEN 'laying, and there on day ' || last_there_day
        WHEN is_ended THEN 'gone by day ' || end_by || ': ' || end_reason
        WHEN laying = 'no' THEN 'not laying in time'
        WHEN drone_by <= window_days THEN 'drone-layer by day ' || drone_by
        ELSE 'her pattern was poor'
    END AS why
FROM window_facts
INNER JOIN (
    SELECT course_no, window_days, state AS laying, refs AS laying_refs FROM answers_laying
) AS laid USING (course_no, window_days)
-- a queen that had not laid has no pattern
LEFT JOIN (
    SELECT course_no, window_days, state AS pattern FROM answers_pattern
) AS scored USING (course_no, window_days)
