-- grain: one look during a course, with what it says of the queen's own brood.
-- inputs: looks, brood_given_days, earlier_looks.
-- Parameters: hatch_days, seal_days, emerge_days, pattern_good_pct.
-- *_hers: brood of that stage seen and hers. *_absent: the stage was looked for, not found.
-- since_given: days since brood that is not hers was last put to her (null: never known).
-- bound_by, bound_after: laying began by that day; after that day (null: says nothing).
WITH dated AS (
    SELECT
        *,
        coalesce(
            (eggs AND day <= 0)
            OR (larvae AND day < $hatch_days + 1)
            OR (sealed AND day < $seal_days + 1),
            false
        ) AS is_older
    FROM looks
    WHERE course > 0
),

given AS (
    -- few queens are given brood: joining their looks alone costs less than an order of all
    SELECT looks.queen_no, looks.checked_on, max(days.given_on) AS given_on
    FROM dated AS looks
    INNER JOIN brood_given_days AS days
        ON looks.queen_no = days.queen_no AND looks.checked_on >= days.given_on
    GROUP BY looks.queen_no, looks.checked_on
),

older AS (
    SELECT looks.course_no, looks.day, max(shown.checked_on) AS older_on
    FROM dated AS looks
    INNER JOIN (SELECT course_no, day, checked_on FROM dated WHERE is_older) AS shown
        ON looks.course_no = shown.course_no AND looks.day >= shown.day
    GROUP BY looks.course_no, looks.day
),

told AS (
    SELECT
        looks.*,
        looks.checked_on - greatest(given.given_on, earlier.brood_on, older.older_on)
            AS since_given,
        coalesce(looks.mark = false, false) AS is_another,
        looks.multiple_eggs AND NOT coalesce(looks.queen_seen, false) AS is_laying_workers
    FROM dated AS looks
    LEFT JOIN given
        ON looks.queen_no = given.queen_no AND looks.checked_on = given.checked_on
    LEFT JOIN older ON looks.course_no = older.course_no AND looks.day = older.day
    LEFT JOIN earlier_looks AS earlier
        ON looks.queen_no = earlier.queen_no AND looks.course = earlier.course
),

owned AS (
    SELECT
        * EXCLUDE (is_laying_workers, is_another),
        is_another,
        coalesce(eggs, false) AND may_be_hers
            AND coalesce(since_given > $hatch_days, true) AS eggs_hers,
        coalesce(larvae, false) AND may_be_hers
            AND coalesce(since_given > $seal_days + 1, true) AS larvae_hers,
        coalesce(sealed, false) AND may_be_hers
            AND coalesce(since_given > $emerge_days, true) AS sealed_hers,
        coalesce(NOT eggs, false) AND NOT is_another AS eggs_absent,
        coalesce(NOT larvae, false) AND NOT is_another AS larvae_absent,
        coalesce(NOT sealed, false) AND NOT is_another AS sealed_absent,
        CASE WHEN may_be_hers AND coalesce(since_given > $emerge_days, true) THEN pattern_pct
        END AS pattern_hers,
        CASE WHEN may_be_hers AND coalesce(since_given > $emerge_days, true) THEN drone_rank
        END AS drone_hers,
        NOT coalesce(queen_seen, true)
            AND (coalesce(NOT eggs, false) OR (coalesce(eggs, false) AND is_laying_workers))
            AS is_empty
    FROM (SELECT *, NOT is_another AND NOT is_laying_workers AS may_be_hers FROM told)
)

SELECT
    course_no,
    queen_no,
    course,
    day,
    ref,
    checked_on,
    queen_seen,
    mark,
    is_older,
    since_given,
    eggs_hers,
    larvae_hers,
    sealed_hers,
    pattern_hers,
    drone_hers,
    eggs_absent AND NOT larvae_hers AND NOT sealed_hers AS shows_no_brood,
    eggs_hers OR larvae_hers OR sealed_hers AS shows_brood,
    coalesce(queen_seen, false) AND NOT is_another AS is_seen,
    is_empty AND NOT (eggs_hers OR larvae_hers OR sealed_hers) AS is_empty,
    least(
        CASE WHEN sealed_hers THEN day - $seal_days END,
        CASE WHEN larvae_hers THEN day - $hatch_days END,
        CASE WHEN eggs_hers THEN day END
    ) AS bound_by,
    greatest(
        CASE WHEN eggs_absent AND NOT larvae_hers AND NOT sealed_hers THEN day END,
        CASE WHEN eggs_hers AND larvae_absent AND NOT sealed_hers
            THEN day - ($hatch_days + 1) END,
        CASE WHEN (eggs_hers OR larvae_hers) AND sealed_absent
            THEN day - ($seal_days + 2) END
    ) AS bound_after
FROM owned
