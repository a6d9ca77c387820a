-- grain: one course x window, with the answers that the other outcomes lean on.
-- inputs: standings. Parameters: grace_days, look_gap_days, early_end_days,
--   pattern_good_pct, there_reasons.
-- onset_after, onset_by: as in `onset`, by this window's close. laying, pattern: yes, no,
-- undecided or left, each by this window. is_out: observation ended before the window did,
-- for a reason that says nothing about her.
WITH settled AS (
    SELECT
        * EXCLUDE (onset_after),
        coalesce(greatest(0, onset_after) >= onset_by, false) AS conflict,
        CASE WHEN conflict THEN 0 ELSE greatest(0, onset_after) END AS onset_after,
        greatest(there_day, CASE WHEN list_contains($there_reasons, exit_reason)
            THEN exit_day END) AS last_there_day,
        CASE WHEN last_there_day > coalesce(there_day, -1) THEN exit_ref ELSE there_ref END
            AS last_there_ref,
        CASE WHEN exit_reason = 'drone_layer' THEN exit_day END AS drone_exit_day,
        least(drone_day, drone_exit_day) AS drone_by,
        coalesce(end_by <= window_days, false) AS is_ended,
        coalesce(is_left AND exit_day < window_days, false) AS is_left_early,
        is_left_early OR coalesce(next_day < window_days, false) AS is_out
    FROM standings
    WHERE window_days IS NOT NULL
),

laid AS (
    SELECT
        *,
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
        END AS laying,
        CASE
            WHEN laying = 'yes'
                THEN {'a': onset_by_ref, 'b': CASE WHEN conflict THEN onset_after_ref END, 'c': NULL}
            WHEN onset_after >= window_days THEN {'a': onset_after_ref, 'b': NULL, 'c': NULL}
            WHEN is_ended_unlaid THEN {'a': end_ref, 'b': no_brood_ref, 'c': end_second_ref}
            WHEN is_anew_unlaid THEN {'a': next_ref, 'b': NULL, 'c': NULL}
            WHEN is_left_early THEN {'a': exit_ref, 'b': NULL, 'c': NULL}
            WHEN is_out THEN {'a': next_ref, 'b': NULL, 'c': NULL}
        END AS laying_refs
    FROM settled
)

SELECT
    course_no,
    window_days,
    closed,
    is_marked,
    onset_after,
    onset_by,
    onset_by_ref,
    laying,
    laying_refs,
    pattern_ref,
    end_reason,
    end_after,
    end_by,
    end_ref,
    end_second_ref,
    is_ended,
    is_out,
    drone_by,
    calm_day,
    calm_ref,
    mark_day,
    mark_ref,
    alive_day,
    last_there_day,
    last_there_ref,
    CASE
        WHEN drone_exit_day < coalesce(drone_day, drone_exit_day + 1)
            THEN CASE WHEN clean_day < drone_exit_day THEN clean_day ELSE 0 END
        WHEN drone_by IS NOT NULL THEN drone_after
        ELSE coalesce(clean_day, 0)
    END AS drone_since,
    CASE WHEN drone_exit_day < coalesce(drone_day, drone_exit_day + 1)
        THEN exit_ref ELSE drone_ref END AS drone_by_ref,
    CASE WHEN is_left_early THEN exit_ref WHEN is_out THEN next_ref END AS out_ref,
    CASE
        WHEN laying IN ('undecided', 'left') THEN laying
        WHEN laying = 'no' THEN NULL
        WHEN pattern_pct >= $pattern_good_pct THEN 'yes'
        WHEN pattern_pct < $pattern_good_pct THEN 'no'
        WHEN is_out THEN 'left'
        ELSE 'undecided'
    END AS pattern
FROM laid
