-- grain: one queen and day of a look that may speak of her (looks after her course's exit
--   are somebody else's and are left out).
-- inputs: queen_days, courses, course_exits.
-- course: the latest course with d0 on or before the day (0: before the first, day null).
-- mark: true, her mark was seen; false, a queen without it although she is known to be
--   marked (a row of the course or of her own says so, or the mark was seen at an earlier
--   look); null otherwise.
WITH spans AS (
    -- from each course's d0 to the next one's; course 0 reaches back before the first
    SELECT
        queen_no,
        course,
        course_no,
        d0,
        d0 AS from_on,
        lead(d0) OVER (PARTITION BY queen_no ORDER BY course) AS until_on,
        marked
    FROM courses
    UNION ALL
    SELECT queen_no, 0, NULL, NULL, NULL, d0, NULL
    FROM courses
    WHERE course = 1
),

hers AS (
    SELECT
        days.*,
        spans.course,
        spans.course_no,
        CAST(days.checked_on - spans.d0 AS INTEGER) AS day,
        coalesce(spans.marked, false) AS marked
    FROM queen_days AS days
    INNER JOIN spans
        ON days.queen_no = spans.queen_no
        AND coalesce(days.checked_on >= spans.from_on, true)
        AND coalesce(days.checked_on < spans.until_on, true)
    LEFT JOIN course_exits AS exits ON spans.course_no = exits.course_no
    WHERE
        coalesce(
            days.checked_on - spans.d0 <= coalesce(exits.exit_day, exits.sampled_day), true
        )
),

first_marks AS (
    -- the first look at which her mark was seen; only asked of queens that no row calls
    -- marked, and a sorted window over all looks would cost many times as much
    SELECT queen_no, min(checked_on) AS seen_on
    FROM hers
    WHERE mark_seen AND NOT marked
    GROUP BY queen_no
)

SELECT
    hers.* EXCLUDE (mark_seen, marked),
    CASE
        WHEN hers.mark_seen THEN true
        WHEN
            NOT hers.mark_seen
            AND (hers.marked OR coalesce(first_marks.seen_on < hers.checked_on, false))
            THEN false
    END AS mark
FROM hers
LEFT JOIN first_marks USING (queen_no)
