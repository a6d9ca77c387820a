-- grain: one look during a course (its day's first row), and the one thing to draw it as.
-- inputs: evidence.
-- shape, the most telling first: another queen, drone brood of hers, brood of hers, neither
--   queen nor eggs, no brood, the queen herself, nothing that counts.
SELECT
    ref,
    CASE
        WHEN mark = false THEN 'another'
        WHEN drone_hers >= 1 THEN 'drones'
        WHEN shows_brood THEN 'brood'
        WHEN is_empty THEN 'empty'
        WHEN shows_no_brood THEN 'no_brood'
        WHEN is_seen THEN 'queen'
        ELSE 'nothing'
    END AS shape
FROM evidence
ORDER BY ref
