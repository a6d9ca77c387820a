-- grain: one closed course of an outcome, as the audit of the build saw it.
-- inputs: audit_courses. Parameters: outcome, window_days.
-- year: the season. A text that is missing is empty. operator_case: null without an operator.
-- risk: of failing, share 0-1, null: a factor is not recorded.
SELECT course_id, operator, season AS "year", graft_batch, semen_batch, operator_case, risk
FROM audit_courses
WHERE outcome = $outcome AND window_days = $window_days
ORDER BY course_id
