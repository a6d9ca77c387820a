-- grain: one level x day of a grouping's onset curves, of the levels with most courses.
-- inputs: onset_curves, rates. Parameters: grouping, most (how many levels).
-- laying, low, high: shares by that day; at_risk: courses.
WITH largest AS (
    SELECT level
    FROM rates
    WHERE
        "grouping" = $grouping
        AND outcome = 'laying'
        AND level NOT LIKE '(%)'  -- not recorded, or gone before it could be told
    GROUP BY level
    ORDER BY max(courses) DESC, level
    LIMIT $most
)

SELECT onset_curves.*
FROM onset_curves
SEMI JOIN largest USING (level)
WHERE onset_curves."grouping" = $grouping
ORDER BY onset_curves.level, onset_curves.day
