-- grain: one of the last weeks, counted back from the as-of day.
-- inputs: courses, standings, linked_checks. Parameters: as_of, weeks (how many).
-- back: 0 for the week that ends on the as-of day, 1 for the one before. observed: courses
-- under observation on its last day, by all that is known now; inseminated: courses whose day
-- 0 lies in it; looks: checks made in it.
WITH weeks AS (
    SELECT
        back,
        $as_of - CAST(7 * back AS INTEGER) AS last_on
    FROM (SELECT unnest(range($weeks)) AS back)
),

stays AS (
    SELECT
        courses.d0,
        courses.d0
        + CAST(least(standings.exit_day, standings.end_by, standings.next_day) AS INTEGER)
            AS until_on
    FROM standings
    INNER JOIN courses USING (course_no)
    WHERE standings.window_days IS NULL
)

SELECT
    weeks.back,
    (
        SELECT count(*)
        FROM stays
        WHERE stays.d0 <= weeks.last_on AND coalesce(stays.until_on > weeks.last_on, true)
    ) AS observed,
    (
        SELECT count(*)
        FROM stays
        WHERE stays.d0 > weeks.last_on - 7 AND stays.d0 <= weeks.last_on
    ) AS inseminated,
    (
        SELECT count(*)
        FROM linked_checks
        WHERE checked_on > weeks.last_on - 7 AND checked_on <= weeks.last_on
    ) AS looks
FROM weeks
ORDER BY weeks.back
