-- grain: one row: the closed courses of a question, and what is not known of them.
-- inputs: audit_courses. Parameters: outcome, window_days. Counts of courses; unknown_risk and
-- unnamed (no operator recorded) are of the decided ones.
SELECT
    count(*) AS closed,
    count(failed) AS decided,
    coalesce(sum(failed), 0) AS failures,
    count(failed) FILTER (WHERE risk IS NULL) AS unknown_risk,
    count(failed) FILTER (WHERE operator = '') AS unnamed
FROM audit_courses
WHERE outcome = $outcome AND window_days = $window_days
