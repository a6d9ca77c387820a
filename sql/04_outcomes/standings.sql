-- grain: one course x horizon: each window's close (window_days), and the as-of day itself
--   (window_days null).
-- inputs: courses, doses_given, course_exits, end_hints, so_far, drone_events,
--   earlier_looks.
-- Parameters: as_of, grace_days, windows, gone_reasons, there_reasons, hatch_days,
--   early_end_days, look_gap_days, noticed_days.
-- What the records dated up to cut_day say: exit, end, and the last look's running values.
-- Days count from d0. end_after, end_by: she was gone after the one and by the other.
-- end_since: end_after, but for a superseded queen the last day on which what was seen can
-- only have been hers: her mark, or the brood that dated her onset; later eggs may well be
-- her successor's.
-- end_behind: the curves spread her end over the days behind this one, up to end_by: from
-- end_since where a look brought it to light (the looks tell it, or one was made on the
-- exit's day or the day before); noticed_days back where the exit alone dates it; the very
-- day where she was found dead or taken out by hand.
-- next_day: first insemination of a further course, where known by then. is_unlaid: gone, or
-- inseminated again, and it is settled that she had not laid: too early for it, or seen
-- without brood shortly before. begun_by: where that is not settled and no brood was seen,
-- the latest day on which she may have begun: half way through the days in which she went.
WITH horizons AS (
    SELECT
        courses.course_no,
        courses.d0,
        horizon.window_days,
        least($as_of - courses.d0, coalesce(horizon.window_days + $grace_days, 1000000))
            AS cut_day,
        $as_of - courses.d0 >= horizon.window_days + $grace_days AS closed,
        courses.next_on - courses.d0 AS next_day,
        next_dose.ref AS next_ref,
        courses.marked,
        earlier_looks.mark_seen AS mark_seen_before
    FROM courses
    CROSS JOIN (SELECT unnest($windows) AS window_days UNION ALL SELECT NULL) AS horizon
    LEFT JOIN (
        SELECT queen_id, course - 1 AS course, min(ref) AS ref
        FROM doses_given
        WHERE inseminated_on = first_on AND course > 1
        GROUP BY queen_id, course
    ) AS next_dose
        ON courses.queen_id = next_dose.queen_id AND courses.course = next_dose.course
    LEFT JOIN earlier_looks
        ON courses.queen_no = earlier_looks.queen_no
        AND courses.course = earlier_looks.course
),

left_by_then AS (
    SELECT
        horizons.* EXCLUDE (next_day, next_ref),
        CASE WHEN next_day <= cut_day THEN next_day END AS next_day,
        CASE WHEN next_day <= cut_day THEN next_ref END AS next_ref,
        CASE
            WHEN exits.exit_day <= cut_day THEN exits.exit_day
            WHEN exits.sampled_day <= cut_day THEN exits.sampled_day
        END AS exit_day,
        CASE
            WHEN exits.exit_day <= cut_day THEN exits.exit_reason
            WHEN exits.sampled_day <= cut_day THEN 'sampled'
        END AS exit_reason,
        CASE
            WHEN exits.exit_day <= cut_day THEN exits.exit_ref
            WHEN exits.sampled_day <= cut_day THEN exits.sampled_ref
        END AS exit_ref
    FROM horizons
    LEFT JOIN course_exits AS exits USING (course_no)
),

hinted AS (
    SELECT
        horizon.course_no,
        horizon.window_days,
        hints.reason,
        hints.by_day,
        hints.ref,
        hints.second_ref
    FROM left_by_then AS horizon
    INNER JOIN end_hints AS hints
        ON horizon.course_no = hints.course_no
        AND hints.valid_from <= least(horizon.cut_day, horizon.exit_day)
        AND coalesce(hints.valid_until > least(horizon.cut_day, horizon.exit_day), true)
    QUALIFY row_number() OVER (
        PARTITION BY horizon.course_no, horizon.window_days
        ORDER BY hints.by_day, hints.reason = 'superseded' DESC
    ) = 1
),

ended AS (
    SELECT
        horizon.*,
        coalesce(list_contains($gone_reasons, horizon.exit_reason), false) AS is_gone,
        coalesce(horizon.exit_reason IS NOT NULL AND NOT is_gone, false) AS is_left,
        CASE WHEN is_gone THEN horizon.exit_reason ELSE hinted.reason END AS end_reason,
        CASE
            WHEN is_gone THEN least(horizon.exit_day, hinted.by_day)
            ELSE hinted.by_day
        END AS end_by,
        hinted.reason IS NOT NULL AND NOT is_gone AS inferred,
        CASE WHEN is_gone THEN horizon.exit_ref ELSE hinted.ref END AS end_ref,
        CASE
            WHEN NOT is_gone THEN hinted.second_ref
            WHEN hinted.by_day < horizon.exit_day THEN hinted.ref
        END AS end_second_ref
    FROM left_by_then AS horizon
    LEFT JOIN hinted
        ON horizon.course_no = hinted.course_no
        AND horizon.window_days IS NOT DISTINCT FROM hinted.window_days
),

bounded AS (
    -- looks after her exit or her end are somebody else's
    SELECT *, least(cut_day, exit_day, end_by) AS last_day FROM ended
)

SELECT
    ended.* EXCLUDE (marked, mark_seen_before, is_gone, d0, last_day),
    coalesce(ended.marked, false)
        OR coalesce(ended.mark_seen_before, false)
        OR so_far.mark_day IS NOT NULL AS is_marked,
    CASE
        WHEN ended.end_by = 0 THEN -1
        WHEN ended.end_by = so_far.day
            -- what was seen on the very day of the end dates it no earlier,
            -- but eggs show her alive when they were laid
            THEN greatest(
                0,
                so_far.alive_before,
                CASE WHEN so_far.eggs_hers THEN so_far.day - $hatch_days END
            )
        WHEN ended.end_by IS NOT NULL THEN greatest(0, so_far.alive_day)
    END AS end_after,
    CASE
        WHEN ended.end_reason = 'superseded'
            THEN least(end_after, greatest(0, so_far.onset_by, so_far.mark_day))
        ELSE end_after
    END AS end_since,
    CASE
        WHEN list_contains($there_reasons, ended.end_reason) THEN ended.end_by - 1
        WHEN
            ended.inferred
            OR ended.end_by < ended.exit_day
            OR so_far.day >= ended.end_by - 1
            THEN end_since
        WHEN ended.end_reason = 'dead' THEN ended.end_by - 1
        ELSE greatest(end_since, ended.end_by - $noticed_days)
    END AS end_behind,
    coalesce(
        so_far.onset_by IS NULL
        AND (
            least(ended.end_by, ended.next_day) <= $early_end_days
            OR least(ended.end_by, ended.next_day) - so_far.no_brood_day <= $look_gap_days
        ),
        false
    ) AS is_unlaid,
    CASE
        WHEN so_far.onset_by IS NOT NULL OR is_unlaid THEN NULL
        WHEN ended.end_by <= coalesce(ended.next_day, ended.end_by)
            THEN (greatest(0, end_after) + ended.end_by) // 2
        ELSE ended.next_day
    END AS begun_by,
    drones.drone_day,
    drones.drone_ref,
    drones.drone_after,
    so_far.* EXCLUDE (course_no, day, next_day, eggs_hers, alive_before)
FROM bounded AS ended
LEFT JOIN so_far
    ON ended.course_no = so_far.course_no
    AND ended.last_day >= so_far.day
    AND ended.last_day < so_far.next_day
LEFT JOIN drone_events AS drones
    ON ended.course_no = drones.course_no AND ended.last_day >= drones.drone_day
