-- grain: one ISO week of day 0 x season x what is known of its courses on the as-of day.
-- inputs: courses, outcomes, standings. Parameters: as_of, window_days (of the first question).
-- Of the two latest seasons. fate, the first that fits: not_laying (by the window's end, or
-- gone before she was seen to lay), failed (laid, then gone because of her), left (for a
-- reason that says nothing of her), laying (seen to, and nothing since against it), early
-- (her window is open), unknown (it closed and nobody saw in time).
WITH latest AS (
    SELECT DISTINCT season FROM courses WHERE d0 <= $as_of ORDER BY season DESC LIMIT 2
),

known AS (
    SELECT
        courses.season,
        courses.iso_week,
        CASE
            WHEN laying.state = 'no' THEN 'not_laying'
            WHEN standings.end_reason IS NOT NULL AND standings.onset_by IS NULL THEN 'not_laying'
            WHEN standings.end_reason IS NOT NULL THEN 'failed'
            WHEN standings.is_left THEN 'left'
            WHEN standings.onset_by IS NOT NULL THEN 'laying'
            WHEN NOT laying.closed THEN 'early'
            ELSE 'unknown'
        END AS fate
    FROM courses
    INNER JOIN latest USING (season)
    INNER JOIN standings
        ON standings.course_no = courses.course_no AND standings.window_days IS NULL
    INNER JOIN outcomes AS laying
        ON laying.course_id = courses.course_id
        AND laying.outcome = 'laying'
        AND laying.window_days = $window_days
    WHERE courses.d0 <= $as_of
)

SELECT season, iso_week, fate, count(*) AS courses
FROM known
GROUP BY season, iso_week, fate
ORDER BY iso_week, fate
