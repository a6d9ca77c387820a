-- grain: one closed course of an outcome, as the audit of the build saw it.
-- inputs: audit_courses. Parameters: outcome, window_days.
-- failed: 1, 0, null undecided. risk: share 0-1, null: a factor is not recorded.
-- inseminated_at: a text, as the audit's arrays hold it.
SELECT
    * REPLACE (strftime(inseminated_at, '%Y-%m-%dT%H:%M:%S') AS inseminated_at)
FROM audit_courses
WHERE outcome = $outcome AND window_days = $window_days
ORDER BY course_id
