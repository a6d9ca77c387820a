-- grain: one course x window, unless she had not laid or no mark is known of. inputs:
--   window_facts, answers_laying.
-- outcome: has a queen that laid, and is known to be marked, been superseded by the
--   window's last day?
-- state: yes, no, undecided, left. after, by: days after d0. refs: the deciding rows.
-- why: what settled a yes or a no.
SELECT
    course_no,
    window_days,
    closed,
    coalesce(end_reason = 'superseded', false) AS is_superseded,
    CASE
        WHEN laying <> 'yes' THEN laying
        WHEN is_superseded AND is_ended THEN 'yes'
        WHEN mark_day >= window_days OR (is_superseded AND end_after >= window_days)
            THEN 'no'
        WHEN is_ended OR is_out THEN 'left'
        ELSE 'undecided'
    END AS state,
    CASE WHEN is_superseded THEN end_after ELSE greatest(0, alive_day) END AS "after",
    CASE WHEN is_superseded THEN end_by END AS "by",
    CASE
        WHEN laying = 'left' THEN laying_refs
        WHEN state = 'no' AND mark_day >= window_days
            THEN {'a': mark_ref, 'b': NULL, 'c': NULL}
        WHEN is_ended OR state = 'no' THEN {'a': end_ref, 'b': end_second_ref, 'c': NULL}
        ELSE {'a': out_ref, 'b': NULL, 'c': NULL}
    END AS refs,
    CASE
        WHEN state = 'yes' THEN 'superseded by day ' || end_by
        ELSE 'she herself was still there later'
    END AS why
FROM window_facts
INNER JOIN (
    SELECT course_no, window_days, state AS laying, refs AS laying_refs FROM answers_laying
) AS laid USING (course_no, window_days)
WHERE laying <> 'no' AND is_marked
