-- Grain: an id in a table, of which no row of its own home is kept.
-- Inputs: id_uses (id, table, its first ref there, how often it stands there), home_ids (id,
--   its first ref at home).
-- Units: label: the one id at home that differs only in case, blanks, hyphens or leading
--   zeros (NULL: none, or several of them).
WITH homes AS (
    SELECT fold_id(id) AS fold, list(id ORDER BY ref) AS labels
    FROM home_ids
    GROUP BY fold
)
SELECT
    u."table", u.id, u.ref, u.uses,
    CASE WHEN len(h.labels) = 1 THEN h.labels[1] END AS label
FROM id_uses AS u
LEFT JOIN homes AS h ON h.fold = fold_id(u.id)
WHERE u.id NOT IN (SELECT id FROM home_ids)
ORDER BY u."table", u.ref, u.id
