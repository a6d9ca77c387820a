-- grain: one course.
-- inputs: standings, courses. Laying began after day `after` and by day `by` (null: never seen), from
-- all records up to the as-of day. conflict: the looks contradict each other; brood seen
-- outranks brood not seen, and `after` is 0.
SELECT
    courses.course_id,
    CASE WHEN conflict THEN 0 ELSE since END AS "after",
    "by",
    conflict
FROM (
    SELECT
        course_no,
        greatest(0, onset_after) AS since,
        onset_by AS "by",
        coalesce(greatest(0, onset_after) >= onset_by, false) AS conflict
    FROM standings
    WHERE window_days IS NULL
) AS standing
INNER JOIN courses USING (course_no)
