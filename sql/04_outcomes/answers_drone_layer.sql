-- grain: one course x window, unless she had not laid. inputs: window_facts,
--   answers_laying.
-- outcome: has a queen that laid turned drone-layer by the window's last day?
-- state: yes, no, undecided, left. after, by: days after d0. refs: the deciding rows.
-- why: what settled a yes or a no.
SELECT
    course_no,
    window_days,
    closed,
    CASE
        WHEN laying <> 'yes' THEN laying
        WHEN drone_by <= window_days THEN 'yes'
        WHEN calm_day >= window_days OR drone_since >= window_days THEN 'no'
        WHEN is_ended OR is_out THEN 'left'
        ELSE 'undecided'
    END AS state,
    drone_since AS "after",
    drone_by AS "by",
    CASE
        WHEN laying = 'left' THEN laying_refs
        WHEN state = 'yes' THEN {'a': drone_by_ref, 'b': NULL, 'c': NULL}
        WHEN state = 'no' THEN {'a': calm_ref, 'b': NULL, 'c': NULL}
        WHEN is_ended THEN {'a': end_ref, 'b': end_second_ref, 'c': NULL}
        ELSE {'a': out_ref, 'b': NULL, 'c': NULL}
    END AS refs,
    CASE
        WHEN state = 'yes' THEN 'drone brood, or an exit as drone-layer, by day ' || drone_by
        ELSE 'sealed brood without many drone cells on day ' || calm_day
    END AS why
FROM window_facts
INNER JOIN (
    SELECT course_no, window_days, state AS laying, refs AS laying_refs FROM answers_laying
) AS laid USING (course_no, window_days)
WHERE laying <> 'no'
