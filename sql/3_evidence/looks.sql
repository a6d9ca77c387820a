-- grain: one queen and day of a look that may speak of her (looks after her course's exit
--   are somebody else's and are left out).
-- inputs: queen_days, courses, course_exits, accepted_queens.
-- course: the latest course with d0 on or before the day (0: before the first, day null).
-- mark: true, her mark was seen; false, a queen without it although she is known to be
--   marked (her own row says so, or the mark was seen at an earlier look); null otherwise.
WITH placed AS (
    SELECT
        days.*,
        coalesce(courses.course, 0) AS course,
        courses.course_id,
        days.checked_on - courses.d0 AS day,
        coalesce(courses.marked, queens.marked, false) AS marked
    FROM queen_days AS days
    ASOF LEFT JOIN courses
        ON days.queen_id = courses.queen_id AND days.checked_on >= courses.d0
    LEFT JOIN accepted_queens AS queens ON days.queen_id = queens.queen_id
),

hers AS (
    SELECT placed.*
    FROM placed
    LEFT JOIN course_exits AS exits USING (course_id)
    WHERE coalesce(placed.day <= coalesce(exits.exit_day, exits.sampled_day), true)
)

SELECT
    * EXCLUDE (mark_seen, marked),
    CASE
        WHEN mark_seen THEN true
        WHEN
            NOT mark_seen
            AND (
                marked
                OR coalesce(
                    bool_or(mark_seen) OVER (
                        PARTITION BY queen_id ORDER BY checked_on
                        ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
                    ),
                    false
                )
            )
            THEN false
    END AS mark
FROM hers
