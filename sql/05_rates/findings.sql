-- grain: one look during a course, with what bears on the states she may have been in.
-- inputs: evidence, looks, courses, earlier looks of the course.
-- Days count from d0. brood: 0 looked for and none of hers seen; 1 hers seen, with eggs or
-- eggs not noted; 2 hers seen, and no eggs. older_days: days for which the brood seen had
-- been there at least, and fresh_days: how long ago at most she was alive to lay it.
-- young_by: no brood of hers was there up to this day, since the later stages were missing
-- at the first look that showed any. drones: 0 none, 1 few, 2 many, among sealed brood.
WITH told AS (
    SELECT
        seen.*,
        CASE
            WHEN seen.shows_no_brood THEN 0
            WHEN seen.shows_brood
                THEN CASE WHEN NOT seen.eggs_hers AND looks.eggs = false THEN 2 ELSE 1 END
        END AS brood,
        coalesce(bool_or(seen.shows_brood) OVER before, false) AS shown_before
    FROM evidence AS seen
    INNER JOIN looks ON seen.course_no = looks.course_no AND seen.day = looks.day
    WINDOW before AS (
        PARTITION BY seen.course_no ORDER BY seen.day
        ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    )
)

SELECT
    courses.course_id,
    told.day,
    told.queen_seen,
    told.mark,
    told.brood,
    told.day - told.bound_by AS older_days,
    CASE WHEN told.eggs_hers THEN $hatch_days WHEN told.larvae_hers THEN $seal_days + 1
        WHEN told.sealed_hers THEN $emerge_days END AS fresh_days,
    CASE WHEN told.brood > 0 AND NOT told.shown_before AND told.bound_after < told.day
        THEN told.bound_after END AS young_by,
    CASE WHEN told.sealed_hers THEN told.drone_hers END AS drones,
    CASE WHEN coalesce(told.drone_hers < 2, true) THEN told.pattern_hers END AS pattern_pct
FROM told
INNER JOIN courses USING (course_no)
ORDER BY courses.course_id, told.day
