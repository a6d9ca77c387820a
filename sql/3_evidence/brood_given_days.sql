-- grain: one queen and day on which brood of another queen was put to her.
-- inputs: looks (brood_given), accepted_placements (brood_present). Parameter: as_of.
SELECT queen_id, checked_on AS given_on
FROM looks
WHERE brood_given
UNION
SELECT placements.queen_id, placements.placed_on
FROM accepted_placements AS placements
SEMI JOIN courses ON placements.queen_id = courses.queen_id
WHERE placements.brood_present AND placements.placed_on <= $as_of
