-- Grain: an id that differs from a commoner one only in case, blanks, hyphens or leading
--        zeros; the commonest spelling counts as the usual one, the earliest on a tie.
-- Inputs: id_uses (id, table, its first ref there, how often it stands there).
-- Units: ref and table are those of its first record; others names the other spellings,
--        five at most.
WITH used AS (
    SELECT
        id, min(ref) AS ref, arg_min("table", ref) AS "table", sum(uses) AS uses,
        fold_id(id) AS fold
    FROM id_uses
    GROUP BY id
    QUALIFY count(*) OVER (PARTITION BY fold) > 1
), alike AS (
    SELECT fold, list(id ORDER BY uses DESC, ref) AS spellings FROM used GROUP BY fold
)
SELECT
    u.ref, u."table", u.id,
    array_to_string(list_filter(a.spellings, lambda x: x <> u.id)[:5], ', ') AS others
FROM used AS u
JOIN alike AS a USING (fold)
WHERE u.id <> a.spellings[1]
