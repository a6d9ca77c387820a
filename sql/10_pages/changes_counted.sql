-- grain: one kind of change since the build before: outcome x window x was x is x because.
-- inputs: changes. Parameter: most (kinds given). example: a course it happened to.
SELECT outcome, window_days, was, "is", because, count(*) AS courses, min(course_id) AS example
FROM changes
GROUP BY ALL
ORDER BY courses DESC, outcome, window_days, was, "is", because
LIMIT $most
