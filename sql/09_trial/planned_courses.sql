-- grain: one course whose window has closed, in the order of the ids.
-- inputs: courses, outcomes. Parameters: outcome, window_days, grace_days, as_of.
-- state: null where the outcome was not asked of her (she never laid, or has no mark).
-- arm: the protocol as named, else the dose meant, uL; null where neither was recorded.
SELECT
    courses.course_id,
    outcomes.state,
    courses.graft_batch,
    courses.semen_batch,
    coalesce(courses.protocol, CAST(courses.dose_meant_ul AS VARCHAR)) AS arm
FROM courses
LEFT JOIN outcomes
    ON outcomes.course_id = courses.course_id
    AND outcomes.outcome = $outcome
    AND outcomes.window_days = $window_days
    AND outcomes.closed
WHERE courses.d0 + CAST($window_days + $grace_days AS INTEGER) <= $as_of
ORDER BY courses.course_id
