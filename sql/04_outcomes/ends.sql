-- grain: one course whose queen is gone.
-- inputs: standings, courses. She was gone after day `after` and by day `by`, from all records up to
-- the as-of day. inferred: no exit says so; the looks do.
SELECT
    courses.course_id,
    end_reason,
    end_after AS "after",
    end_by AS "by",
    inferred
FROM standings
INNER JOIN courses USING (course_no)
WHERE window_days IS NULL AND end_reason IS NOT NULL
