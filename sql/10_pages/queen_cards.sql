-- grain: one course, newest first: what a list of queens is searched and sorted by.
-- inputs: courses, onset, ends, standings.
-- end_after .. end_by: days after d0 between which she was gone (null: not known to be).
-- exit_day, next_day: observation ended on that day, a further course began (null: neither).
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
WHERE standings.window_days IS NULL
ORDER BY courses.d0 DESC, courses.course_id
