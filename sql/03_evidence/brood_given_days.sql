-- grain: one queen and day on which brood of another queen was put to her.
-- inputs: looks (brood_given), accepted_placements (brood_present). Parameter: as_of.
SELECT queen_no, checked_on AS given_on
FROM looks
WHERE brood_given
UNION
SELECT queens.queen_no, placements.placed_on
FROM accepted_placements AS placements
INNER JOIN (SELECT DISTINCT queen_id, queen_no FROM courses) AS queens USING (queen_id)
WHERE placements.brood_present AND placements.placed_on <= $as_of
