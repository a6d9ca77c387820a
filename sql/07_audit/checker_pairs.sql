-- grain: two looks at one queen by two checkers at most 2 days apart.
-- inputs: linked_checks. Parameters: none. pattern_pct: per cent; the words as recorded;
-- null: not recorded by that checker. The first of the two is the one whose name comes
-- first, so that a pair of checkers has one order; each pair of looks stands once.
WITH seen AS (
    SELECT queen_id, checked_on, checker, eggs, drone_in_worker, pattern_pct, ref
    FROM linked_checks
    WHERE checker IS NOT NULL AND queen_id IS NOT NULL
)

SELECT
    one.checker AS first_checker,
    other.checker AS second_checker,
    one.queen_id,
    one.checked_on AS first_on,
    other.checked_on AS second_on,
    one.eggs AS first_eggs,
    other.eggs AS second_eggs,
    one.drone_in_worker AS first_drone_in_worker,
    other.drone_in_worker AS second_drone_in_worker,
    one.pattern_pct AS first_pattern_pct,
    other.pattern_pct AS second_pattern_pct
FROM seen AS one
INNER JOIN seen AS other
    ON one.queen_id = other.queen_id
    AND one.checker < other.checker
    AND abs(one.checked_on - other.checked_on) <= 2
ORDER BY ALL
