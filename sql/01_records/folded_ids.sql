-- Grain: an id that is spelled otherwise than its label, and a table it stands in.
-- Inputs: id_uses (id, table, its first ref there, how often it stands there).
-- Parameters: home (the table whose first spelling is the label), guarded (the table in
--   which two spellings are two things; empty: none).
-- Units: label: what the id is taken for (NULL: it could be several, which `others` names,
--   so it stays as it is). ref: its first record in that table; uses: its rows there.
WITH spelled AS (
    SELECT
        id, min(ref) AS first_ref,
        min(ref) FILTER ("table" = $home) AS home_ref,
        bool_or("table" = $guarded) AS is_guarded,
        fold_id(id) AS fold
    FROM id_uses
    GROUP BY id
    QUALIFY count(*) OVER (PARTITION BY fold) > 1
), alike AS (
    SELECT
        fold,
        arg_min(id, (home_ref IS NULL, coalesce(home_ref, first_ref))) AS label,
        list(id ORDER BY first_ref) FILTER (is_guarded) AS guarded
    FROM spelled
    GROUP BY fold
), meant AS (
    SELECT
        s.id,
        CASE
            WHEN coalesce(len(a.guarded), 0) < 2 THEN a.label
            WHEN s.is_guarded THEN s.id
        END AS label,
        array_to_string(list_filter(a.guarded, lambda x: x <> s.id)[:5], ', ') AS others,
        s.is_guarded AND len(a.guarded) > 1 AS is_one_of_two
    FROM spelled AS s
    JOIN alike AS a USING (fold)
)
SELECT
    u.ref, u."table", u.id, u.uses, nullif(m.label, u.id) AS label, m.others
FROM id_uses AS u
JOIN meant AS m USING (id)
WHERE m.label IS DISTINCT FROM u.id OR (m.is_one_of_two AND u."table" = $guarded)
