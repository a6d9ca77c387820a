-- grain: one look during a course, with what it says of the queen's own brood.
-- inputs: looks, brood_given_days, earlier_looks.
-- Parameters: hatch_days, seal_days, emerge_days, pattern_good_pct.
-- *_hers: brood of that stage seen and hers. *_absent: the stage was looked for, not found.
-- since_given: days since brood that is not hers was last put to her (null: never known).
-- bound_by, bound_after: laying began by that day; after that day (null: says nothing).
WITH dated AS (
    SELECT
        looks.*,
        given.given_on,
        earlier.brood_on AS old_on,
        coalesce(
            (looks.eggs AND looks.day <= 0)
            OR (looks.larvae AND looks.day < $hatch_days + 1)
            OR (looks.sealed AND looks.day < $seal_days + 1),
            false
        ) AS is_older
    FROM (SELECT * FROM looks WHERE course > 0) AS looks
    ASOF LEFT JOIN brood_given_days AS given
        ON looks.queen_no = given.queen_no AND looks.checked_on >= given.given_on
    LEFT JOIN earlier_looks AS earlier
        ON looks.queen_no = earlier.queen_no AND looks.course = earlier.course
),

told AS (
    SELECT
        * EXCLUDE (given_on, old_on),
        checked_on - greatest(
            given_on,
            old_on,
            max(CASE WHEN is_older THEN checked_on END) OVER (
                PARTITION BY course_no ORDER BY day
                ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
            )
        ) AS since_given,
        coalesce(mark = false, false) AS is_another,
        multiple_eggs AND NOT coalesce(queen_seen, false) AS is_laying_workers
    FROM dated
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
