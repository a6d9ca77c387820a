-- grain: one course x window, unless she had not laid. inputs: window_facts,
--   answers_laying. Parameters: pattern_good_pct (%).
-- outcome: is the brood pattern good, of a queen that laid by the window's last day?
-- state: yes, no, undecided, left. after, by: null, a score has no date. refs: the deciding
-- rows. why: what settled a yes or a no.
SELECT
    course_no,
    window_days,
    closed,
    CASE
        WHEN laying <> 'yes' THEN laying
        WHEN pattern_pct >= $pattern_good_pct THEN 'yes'
        WHEN pattern_pct < $pattern_good_pct THEN 'no'
        WHEN is_out THEN 'left'
        ELSE 'undecided'
    END AS state,
    NULL AS "after",
    NULL AS "by",
    CASE
        WHEN laying = 'left' THEN laying_refs
        WHEN state <> 'left' THEN {'a': pattern_ref, 'b': NULL, 'c': NULL}
        WHEN is_ended THEN {'a': end_ref, 'b': end_second_ref, 'c': NULL}
        ELSE {'a': out_ref, 'b': NULL, 'c': NULL}
    END AS refs,
    'the last pattern scored' AS why
FROM window_facts
INNER JOIN (
    SELECT course_no, window_days, state AS laying, refs AS laying_refs FROM answers_laying
) AS laid USING (course_no, window_days)
WHERE laying <> 'no'
