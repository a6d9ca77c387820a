-- grain: one course, day and sign that the queen herself was still there.
-- inputs: evidence, course_exits, courses.
-- is_own: her mark was seen, or she left in a way that shows her there, or she was
--   inseminated again; only these undo a queen seen without the mark.
SELECT course_no, day, coalesce(mark, false) AS is_own
FROM evidence
WHERE is_seen OR shows_brood
UNION ALL
SELECT course_no, exit_day, true
FROM course_exits
WHERE list_contains($there_reasons, exit_reason)
UNION ALL
SELECT course_no, sampled_day, true
FROM course_exits
WHERE sampled_day IS NOT NULL
UNION ALL
SELECT course_no, next_on - d0, true
FROM courses
WHERE next_on IS NOT NULL
