-- grain: one check due or missed: a course under observation x planned check day.
-- inputs: courses, standings, outcomes, looks, accepted_placements.
-- Parameters: as_of, grace_days, check_days, early_days, early_until_day, missed_days,
--   looks (outcome, window_days, first_look and last_look: the planned days that serve it,
--   look_for: what they must see), to_see (all that looks may be asked for, in order).
-- A check is due from its day (early_days sooner up to early_until_day) to grace_days after
-- it, while no look fell in that span and an outcome it could settle is still open to it.
-- After that it is missed, for missed_days. A look settles something until the last of its
-- windows closes, grace_days after it (useful_until); then the row goes. Soonest to close first.
WITH observed AS (
    SELECT
        courses.course_id,
        courses.course_no,
        courses.queen_id,
        courses.d0,
        $as_of - courses.d0 AS today
    FROM courses
    INNER JOIN standings USING (course_no)
    WHERE
        standings.window_days IS NULL
        AND standings.exit_day IS NULL
        AND standings.end_by IS NULL
        AND standings.next_day IS NULL
),

planned AS (
    SELECT
        *,
        day - CASE WHEN day <= $early_until_day THEN $early_days ELSE 0 END AS first_day,
        day + $grace_days AS last_day
    FROM observed
    CROSS JOIN (SELECT unnest($check_days) AS day)
    WHERE
        today >= first_day
        AND today <= last_day + $missed_days
),

unseen AS (
    SELECT planned.*
    FROM planned
    WHERE NOT EXISTS (
        SELECT *
        FROM looks
        WHERE
            looks.course_no = planned.course_no
            AND looks.day BETWEEN planned.first_day AND planned.last_day
    )
),

serving AS (
    SELECT
        unseen.course_id,
        unseen.queen_id,
        unseen.d0,
        unseen.day,
        unseen.today,
        unseen.last_day,
        outcomes.outcome,
        outcomes.window_days,
        unseen.d0 + CAST(outcomes.window_days + $grace_days AS INTEGER) AS closes_on,
        questions.look_for
    FROM unseen
    INNER JOIN outcomes USING (course_id)
    INNER JOIN (SELECT unnest($looks, recursive := true)) AS questions
        USING (outcome, window_days)
    WHERE
        outcomes.state = 'undecided'
        AND unseen.today <= outcomes.window_days + $grace_days
        AND unseen.day BETWEEN questions.first_look AND questions.last_look
),

homes AS (
    SELECT queen_id, colony_id
    FROM accepted_placements
    WHERE placed_on <= $as_of AND coalesce(removed_on > $as_of, true)
    QUALIFY row_number() OVER (
        PARTITION BY queen_id ORDER BY placed_on DESC, colony_id, ref
    ) = 1
),

gathered AS (
    SELECT
        queen_id,
        course_id,
        day,
        d0 + CAST(day AS INTEGER) AS "on",
        max(closes_on) AS useful_until,
        today,
        last_day,
        list(
            replace(outcome, '_', '-') || ' by day ' || window_days
            ORDER BY window_days, outcome
        ) AS settles,
        flatten(list(look_for)) AS look_for
    FROM serving
    GROUP BY ALL
)

SELECT
    gathered.queen_id,
    gathered.course_id,
    homes.colony_id,
    gathered.day,
    gathered."on",
    gathered.useful_until,
    CASE WHEN gathered.today <= gathered.last_day THEN 'due' ELSE 'missed' END AS status,
    array_to_string(
        list_filter($to_see, lambda what: list_contains(gathered.look_for, what)), '; '
    ) AS look_for,
    array_to_string(gathered.settles, ', ') AS settles
FROM gathered
LEFT JOIN homes USING (queen_id)
ORDER BY
    status,
    gathered.useful_until,
    gathered."on",
    gathered.queen_id,
    gathered.course_id,
    gathered.day
