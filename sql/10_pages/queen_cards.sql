-- grain: one course, newest first: what a list of queens is searched and sorted by.
-- inputs: courses, onset, ends, standings, accepted_placements, linked_checks.
-- Parameter: as_of. colony: the last one that she was put or looked at in during the course.
-- end_after .. end_by: days after d0 between which she was gone (null: not known to be).
-- exit_day, next_day: observation ended on that day, a further course began (null: neither).
WITH stays AS (
    SELECT queen_id, colony_id, placed_on AS "on"
    FROM accepted_placements
    WHERE placed_on <= $as_of AND colony_id IS NOT NULL
    UNION ALL
    SELECT queen_id, colony_id, checked_on
    FROM linked_checks
    WHERE colony_id IS NOT NULL
),

homes AS (
    SELECT courses.course_no, arg_max(stays.colony_id, (stays."on", stays.colony_id)) AS colony
    FROM courses
    INNER JOIN stays
        ON stays.queen_id = courses.queen_id
        AND stays."on" >= courses.d0
        AND stays."on" < coalesce(courses.next_on, DATE '9999-12-31')
    GROUP BY courses.course_no
)

SELECT
    courses.course_id,
    courses.queen_id,
    courses.course,
    courses.d0,
    courses.operator,
    courses.line,
    courses.graft_batch,
    courses.semen_batch,
    courses.protocol,
    courses.dose_ul,
    homes.colony,
    onset."after" AS onset_after,
    onset."by" AS onset_by,
    onset.conflict,
    ends.end_reason,
    ends."after" AS end_after,
    ends."by" AS end_by,
    ends.inferred,
    standings.exit_day,
    standings.next_day
FROM courses
INNER JOIN onset USING (course_id)
INNER JOIN standings USING (course_no)
LEFT JOIN ends USING (course_id)
LEFT JOIN homes USING (course_no)
WHERE standings.window_days IS NULL
ORDER BY courses.d0 DESC, courses.course_id
