-- grain: one course of the queens asked for.
-- inputs: courses, onset, ends. Parameter: queens (a list of ids).
-- laying_began, ended: the intervals in words, days after d0.
SELECT
    courses.course_id, courses.d0, courses.operator, courses.dose_ul, courses.doses,
    courses.protocol, courses.semen_batch, courses.graft_batch,
    courses.queen_age_days, courses.drone_age_days, courses.co2_schedule,
    'after day ' || onset."after" || coalesce(' and by day ' || onset."by", ', not seen')
        AS laying_began,
    ends.end_reason || ' by day ' || ends."by" || ' (after day ' || ends."after" || ')'
        AS ended
FROM courses
INNER JOIN onset USING (course_id)
LEFT JOIN ends USING (course_id)
WHERE list_contains($queens, queen_id)
ORDER BY course
