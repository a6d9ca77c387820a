-- grain: one course, with the state of every outcome, newest first.
-- inputs: courses, outcomes, onset, ends, accepted_placements. Parameter: as_of.
WITH states AS (
    SELECT
        course_id,
        list(
            {
                'outcome': outcome,
                'window_days': window_days,
                'state': state,
                'closed': closed,
                'settled_by': settled_by
            }
            ORDER BY outcome, window_days
        ) AS outcomes
    FROM outcomes
    GROUP BY course_id
)

SELECT
    courses.course_id,
    courses.queen_id,
    courses.d0,
    courses.operator,
    courses.line,
    courses.graft_batch,
    courses.semen_batch,
    courses.protocol,
    courses.dose_ul,
    onset."after" AS onset_after,
    onset."by" AS onset_by,
    ends.end_reason,
    ends."by" AS end_by,
    states.outcomes
FROM courses
INNER JOIN states USING (course_id)
INNER JOIN onset USING (course_id)
LEFT JOIN ends USING (course_id)
ORDER BY courses.d0 DESC, courses.course_id
