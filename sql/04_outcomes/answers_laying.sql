-- grain: one course x window. inputs: window_facts.
-- Parameters: grace_days, look_gap_days, early_end_days.
-- outcome: has she begun to lay by the window's last day?
-- state: yes, no, undecided, left. after, by: days after d0. refs: the deciding rows.
-- why: what settled a yes or a no.
SELECT
    course_no,
    window_days,
    closed,
    -- gone too early to lay, or seen without brood of hers shortly before
    is_ended AND onset_by IS NULL
        AND (
            end_by <= $early_end_days
            OR coalesce(end_by - no_brood_day <= $look_gap_days, false)
        ) AS is_ended_unlaid,
    coalesce(next_day <= window_days + $grace_days, false) AND onset_by IS NULL
        AS is_anew_unlaid,
    CASE
        WHEN onset_by <= window_days THEN 'yes'
        WHEN onset_after >= window_days OR is_ended_unlaid OR is_anew_unlaid THEN 'no'
        WHEN is_out THEN 'left'
        ELSE 'undecided'
    END AS state,
    onset_after AS "after",
    onset_by AS "by",
    CASE
        WHEN state = 'yes'
            THEN {'a': onset_by_ref, 'b': CASE WHEN conflict THEN onset_after_ref END, 'c': NULL}
        WHEN onset_after >= window_days THEN {'a': onset_after_ref, 'b': NULL, 'c': NULL}
        WHEN is_ended_unlaid THEN {'a': end_ref, 'b': no_brood_ref, 'c': end_second_ref}
        WHEN is_anew_unlaid THEN {'a': next_ref, 'b': NULL, 'c': NULL}
        ELSE {'a': out_ref, 'b': NULL, 'c': NULL}
    END AS refs,
    CASE
        WHEN state = 'yes' THEN 'brood dates the onset to day ' || onset_by || ' at the latest'
        WHEN onset_after >= window_days THEN 'no brood of hers up to day ' || onset_after
        WHEN is_ended THEN 'gone by day ' || end_by || ' without brood of hers'
        ELSE 'inseminated again without brood of hers'
    END AS why
FROM window_facts
