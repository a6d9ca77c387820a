-- Grain: a placement that shares a day with another queen's in the same colony.
-- Inputs: stays.
-- Units: other is the first such placement. The day on which one queen follows another
--        is no overlap.
WITH pairs AS (
    SELECT a.ref, a.colony_id, a.queen_id, a.placed_on,
        arg_min({'queen_id': b.queen_id, 'ref': b.ref}, b.ref) AS other
    FROM stays AS a
    JOIN stays AS b
        ON a.colony_id = b.colony_id AND a.queen_id <> b.queen_id
        AND (
            a.placed_on = b.placed_on
            OR (a.placed_on < b.placed_on AND (a.last_on IS NULL OR a.last_on > b.placed_on))
            OR (b.placed_on < a.placed_on AND (b.last_on IS NULL OR b.last_on > a.placed_on))
        )
    GROUP BY ALL
)
SELECT
    ref, colony_id, queen_id, placed_on,
    other.queen_id AS other_queen, other.ref AS other_ref
FROM pairs
