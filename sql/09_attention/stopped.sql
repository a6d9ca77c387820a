-- grain: a checker of whom no look has come for a while, although she looked steadily before
--   and checks are due.
-- inputs: linked_checks, due. Parameters: as_of, silent_days, before_days, fewest_looks.
-- last_on: her last look. looks: those of the before_days up to it; fewer than fewest_looks
-- are a visitor's. due: checks due now.
WITH last_looks AS (
    SELECT checker, max(checked_on) AS last_on
    FROM linked_checks
    WHERE checker IS NOT NULL AND checker <> ''
    GROUP BY checker
)

SELECT
    last.checker,
    last.last_on,
    count(*) AS looks,
    (SELECT count(*) FROM due WHERE status = 'due') AS due
FROM last_looks AS last
INNER JOIN linked_checks AS looks
    ON looks.checker = last.checker
    AND looks.checked_on > last.last_on - $before_days
WHERE
    last.last_on <= $as_of - $silent_days
    AND last.last_on > $as_of - $before_days
    AND EXISTS (SELECT * FROM due WHERE status = 'due')
GROUP BY last.checker, last.last_on
HAVING count(*) >= $fewest_looks
ORDER BY last.last_on DESC, last.checker
