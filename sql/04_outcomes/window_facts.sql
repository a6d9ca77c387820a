-- grain: one course x window, with what its records say by the window's close.
-- inputs: standings. Parameters: there_reasons.
-- The facts that the outcomes' own files (answers_*.sql) are worked out from. Days count
-- from d0. onset_after, onset_by: as in `onset`, by this close. is_out: observation ended
-- before the window did, for a reason that says nothing about her; out_ref: the row that
-- says so. is_ended: her end came by the window's last day. last_there_day: the last day
-- on which she was there. drone_since, drone_by: she turned drone-layer after and by.
SELECT
    course_no,
    window_days,
    closed,
    is_marked,
    coalesce(greatest(0, standings.onset_after) >= onset_by, false) AS conflict,
    CASE WHEN conflict THEN 0 ELSE greatest(0, standings.onset_after) END AS onset_after,
    onset_after_ref,
    onset_by,
    onset_by_ref,
    no_brood_day,
    no_brood_ref,
    pattern_pct,
    pattern_ref,
    next_day,
    next_ref,
    exit_day,
    exit_reason,
    exit_ref,
    coalesce(is_left AND exit_day < window_days, false) AS is_left_early,
    is_left_early OR coalesce(next_day < window_days, false) AS is_out,
    CASE WHEN is_left_early THEN exit_ref WHEN is_out THEN next_ref END AS out_ref,
    end_reason,
    end_after,
    end_by,
    end_ref,
    end_second_ref,
    coalesce(end_by <= window_days, false) AS is_ended,
    calm_day,
    calm_ref,
    mark_day,
    mark_ref,
    alive_day,
    greatest(
        there_day,
        CASE WHEN list_contains($there_reasons, exit_reason) THEN exit_day END
    ) AS last_there_day,
    CASE WHEN last_there_day > coalesce(there_day, -1) THEN exit_ref ELSE there_ref END
        AS last_there_ref,
    CASE WHEN exit_reason = 'drone_layer' THEN exit_day END AS drone_exit_day,
    -- an exit as drone-layer counts where no look had shown it by then
    drone_exit_day < coalesce(drone_day, drone_exit_day + 1) AS is_drone_by_exit,
    least(drone_day, drone_exit_day) AS drone_by,
    CASE WHEN is_drone_by_exit THEN exit_ref ELSE drone_ref END AS drone_by_ref,
    CASE
        WHEN is_drone_by_exit THEN CASE WHEN clean_day < drone_exit_day THEN clean_day ELSE 0 END
        WHEN drone_by IS NOT NULL THEN drone_after
        ELSE coalesce(clean_day, 0)
    END AS drone_since
FROM standings
WHERE window_days IS NOT NULL
