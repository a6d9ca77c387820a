-- grain: a row of due, with its colony's place in the last round.
-- inputs: due, linked_checks. place: the number of the last look into the colony (of the queen
-- where no colony is known) in the order of days, and of one day in the order in which the
-- looks were written down; null where nobody has looked.
WITH walked AS (
    SELECT
        colony_id,
        queen_id,
        row_number() OVER (ORDER BY checked_on, ref) AS place
    FROM linked_checks
),

colonies AS (
    SELECT colony_id, max(place) AS place
    FROM walked
    GROUP BY colony_id
),

queens AS (
    SELECT queen_id, max(place) AS place
    FROM walked
    GROUP BY queen_id
)

SELECT
    due.*,
    coalesce(colonies.place, queens.place) AS place
FROM due
LEFT JOIN colonies USING (colony_id)
LEFT JOIN queens USING (queen_id)
ORDER BY due.status, due.useful_until, due."on", due.queen_id, due.course_id, due.day
