-- grain: one course x window. inputs: window_facts.
-- outcome: is she dead or missing by the window's last day?
-- state: yes, no, undecided, left. after, by: days after d0. refs: the deciding rows.
-- why: what settled a yes or a no.
SELECT
    course_no,
    window_days,
    closed,
    coalesce(end_reason IN ('dead', 'missing'), false) AS is_lost,
    CASE
        WHEN is_lost AND is_ended THEN 'yes'
        WHEN last_there_day >= window_days THEN 'no'
        WHEN is_ended OR is_out THEN 'left'
        ELSE 'undecided'
    END AS state,
    CASE WHEN is_lost THEN end_after ELSE greatest(0, last_there_day) END AS "after",
    CASE WHEN is_lost THEN end_by END AS "by",
    CASE
        WHEN state = 'no' THEN {'a': last_there_ref, 'b': NULL, 'c': NULL}
        WHEN is_ended THEN {'a': end_ref, 'b': end_second_ref, 'c': NULL}
        ELSE {'a': out_ref, 'b': NULL, 'c': NULL}
    END AS refs,
    CASE
        WHEN state = 'yes' THEN end_reason || ' by day ' || end_by
        ELSE 'she was there on day ' || last_there_day
    END AS why
FROM window_facts
