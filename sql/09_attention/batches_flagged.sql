-- grain: a batch of this season with more failures than chance gives, in the plan's outcome.
-- inputs: batches, audit_courses, courses. Parameters: outcome, window_days, grace_days, as_of.
-- known_on: the day on which the last of its courses closed. Counts of courses.
SELECT
    batches.kind,
    batches.batch,
    batches.courses,
    batches.failures,
    batches.expected,
    batches.operators,
    max(courses.d0) + CAST($window_days + $grace_days AS INTEGER) AS known_on
FROM batches
INNER JOIN audit_courses AS audited
    ON audited.outcome = batches.outcome
    AND audited.window_days = batches.window_days
    AND batches.batch = CASE batches.kind
        WHEN 'graft_batch' THEN audited.graft_batch ELSE audited.semen_batch
    END
INNER JOIN courses USING (course_id)
WHERE
    batches.outcome = $outcome
    AND batches.window_days = $window_days
    AND batches.flag = 'more'
GROUP BY ALL
HAVING bool_or(courses.season = (SELECT max(season) FROM courses WHERE d0 <= $as_of))
ORDER BY known_on DESC, batches.kind, batches.batch
