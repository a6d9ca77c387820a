-- Grain: a check of a colony in which no queen was placed that day.
-- Inputs: colony_checks, stays.
-- Parameters: most_pairs (pairs of colony labels compared, at most).
-- Units: near_*: the stay in that colony nearest to the day (null: there is none);
--        alike: the label of another colony most like this one, where no stay is known.
WITH alone AS (
    SELECT ref, colony_id, checked_on
    FROM colony_checks
    WHERE own_id IS NULL AND queens = 0
), nearest AS (
    SELECT a.colony_id, a.checked_on, arg_min(
        {'queen_id': s.queen_id, 'placed_on': s.placed_on, 'last_on': s.last_on},
        (CASE WHEN s.placed_on > a.checked_on THEN s.placed_on - a.checked_on
            ELSE a.checked_on - s.last_on END, s.ref)) AS stay
    FROM (SELECT DISTINCT colony_id, checked_on FROM alone) AS a
    JOIN stays AS s USING (colony_id)
    GROUP BY ALL
), labels AS (
    SELECT DISTINCT colony_id AS label FROM stays
), strange AS (
    SELECT colony_id
    FROM (SELECT DISTINCT colony_id FROM alone)
    WHERE colony_id NOT IN (SELECT label FROM labels)
    QUALIFY row_number() OVER (ORDER BY colony_id) * (SELECT count(*) FROM labels) <= $most_pairs
), alike AS (
    SELECT colony_id, arg_max(label, (likeness, label)) AS label
    FROM (
        SELECT colony_id, label,
            jaro_winkler_similarity(lower(colony_id), lower(label)) AS likeness
        FROM strange CROSS JOIN labels
    )
    WHERE likeness >= 0.85
    GROUP BY colony_id
)
SELECT
    c.ref, c.colony_id, c.checked_on,
    n.stay.queen_id AS near_queen, n.stay.placed_on AS near_from, n.stay.last_on AS near_to,
    a.label AS alike
FROM alone AS c
LEFT JOIN nearest AS n USING (colony_id, checked_on)
LEFT JOIN alike AS a USING (colony_id)
