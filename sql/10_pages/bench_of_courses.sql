-- grain: one course of those asked for, with what was done on the bench.
-- inputs: courses. Parameter: courses (a list of ids).
-- units: uL. attempts, leak, tip, instrument: of the main insemination; null: not recorded.
SELECT
    course_id, queen_id, dose_ul, tip, instrument, attempts, leak
FROM courses
WHERE course_id IN (SELECT unnest($courses))
ORDER BY course_id
