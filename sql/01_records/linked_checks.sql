-- Grain: an accepted check dated up to the as-of day.
-- Inputs: accepted_checks, colony_checks.
-- Units: as accepted_checks; queen_id is the check's own, else that of its colony that day.
SELECT c.* REPLACE (coalesce(c.queen_id, l.queen_id) AS queen_id)
FROM accepted_checks AS c
LEFT JOIN (SELECT ref, queen_id FROM colony_checks WHERE own_id IS NULL) AS l
    ON l.ref = c.ref
WHERE c.checked_on <= $as_of
