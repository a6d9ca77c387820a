-- grain: one course whose queen was looked at before its day 0.
-- inputs: looks, courses.
-- brood_on: the last day before d0 on which any brood was seen; all of it is too old to be
--   of this course, so it counts as brood given that day (null: none seen).
-- mark_seen: her mark was seen before d0, so she is known to be marked.
WITH per_course AS (
    SELECT
        queen_no,
        course,
        max(CASE WHEN eggs OR larvae OR sealed THEN checked_on END) AS brood_on,
        bool_or(coalesce(mark, false)) AS mark_seen
    FROM looks
    GROUP BY queen_no, course
    UNION ALL
    -- a course without a look of its own adds nothing but has earlier looks all the same
    SELECT courses.queen_no, courses.course, NULL AS brood_on, false AS mark_seen
    FROM courses
    ANTI JOIN looks
        ON courses.queen_no = looks.queen_no AND courses.course = looks.course
),

before AS (
    SELECT
        queen_no,
        course,
        max(brood_on) OVER earlier AS brood_on,
        coalesce(bool_or(mark_seen) OVER earlier, false) AS mark_seen
    FROM per_course
    WINDOW earlier AS (
        PARTITION BY queen_no ORDER BY course
        ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    )
)

SELECT *
FROM before
WHERE course > 0 AND (brood_on IS NOT NULL OR mark_seen)
