-- grain: one course, as known on the as-of day, or at a window's close.
-- inputs: courses, course_groups, standings, outcomes. Parameters: there_reasons.
-- What the curves need of a course: when laying began, what ended it, and the last day on
-- which each state is known. Days count from d0; null is never, or never seen.
-- unlaid_day: gone, or inseminated again, by that day with no brood of hers ever seen.
-- begun_by: the latest day on which such a course may have begun to lay all the same; null
-- where it is settled that it had not.
-- end_since: the last day on which she was surely there herself, before her end.
-- end_behind: her end is spread over the days behind this one, up to end_by.
-- alive_day: last day she was shown to be there. sound_day: last look at sealed brood
-- without many drone cells; mark_day: last day her mark was seen; for all three also the
-- day she left in hand, until which each of her states counts as watched. watched_days:
-- from day 0 to that day. exit_day, exit_reason, next_day: as in standings.
-- first_days: from her first insemination of the course to the last, which is day 0.
WITH told AS (
    SELECT
        *,
        coalesce(greatest(0, onset_after) >= onset_by, false) AS conflict,
        CASE WHEN list_contains($there_reasons, exit_reason) THEN exit_day END
            AS in_hand_day,
        CASE WHEN exit_reason = 'drone_layer' THEN exit_day END AS drone_exit_day
    FROM standings
    WHERE window_days IS NULL
)

SELECT
    groups.*,
    CASE WHEN told.conflict THEN 0 ELSE greatest(0, told.onset_after) END AS onset_after,
    told.onset_by,
    CASE WHEN told.onset_by IS NULL THEN least(told.end_by, told.next_day) END AS unlaid_day,
    told.begun_by,
    told.end_reason,
    told.end_since,
    told.end_by,
    told.end_behind,
    greatest(told.there_day, told.in_hand_day, told.next_day) AS alive_day,
    greatest(told.mark_day, told.in_hand_day, told.next_day) AS mark_day,
    greatest(told.calm_day, told.in_hand_day) AS sound_day,
    least(told.drone_day, told.drone_exit_day) AS drone_by,
    CASE
        WHEN told.drone_day <= coalesce(told.drone_exit_day, told.drone_day)
            THEN told.drone_after
        WHEN told.clean_day < told.drone_exit_day THEN told.clean_day
        WHEN told.drone_exit_day IS NOT NULL THEN 0
    END AS drone_after,
    told.is_marked,
    told.exit_day,
    told.exit_reason,
    told.next_day,
    told.cut_day AS watched_days,
    courses.d0 - courses.first_on AS first_days
FROM told
INNER JOIN courses USING (course_no)
INNER JOIN course_groups AS groups USING (course_id)
ORDER BY groups.course_id
