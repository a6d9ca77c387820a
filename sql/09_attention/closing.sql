-- grain: one row: queens whose window closes soon, while a look could still settle it.
-- inputs: due, looks, courses. Parameters: as_of, soon_days. queens: without the look that
-- was planned; unseen: of them those at whom nobody has looked since day 0. first_on, place:
-- the first to close and where she is (her own number where no colony is known).
WITH closing AS (
    SELECT
        due.course_id,
        due.useful_until,
        coalesce(due.colony_id, due.queen_id) AS place,
        EXISTS (
            SELECT *
            FROM looks
            WHERE looks.course_no = courses.course_no AND looks.day > 0
        ) AS seen
    FROM due
    INNER JOIN courses USING (course_id)
    WHERE due.useful_until BETWEEN $as_of AND $as_of + $soon_days
)

SELECT
    count(DISTINCT course_id) AS queens,
    count(DISTINCT course_id) FILTER (WHERE NOT seen) AS unseen,
    min(useful_until) AS first_on,
    arg_min(place, (useful_until, place)) AS place
FROM closing
HAVING count(*) > 0
