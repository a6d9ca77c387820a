-- grain: one check up to the as-of day, the latest first. inputs: accepted_checks. Parameter:
-- as_of. What it shares with others, so that the charts of a page can mark the same checks.
SELECT
    strftime(checked_on, '%G-W%V') AS week,
    checker
FROM accepted_checks
WHERE checked_on <= $as_of
ORDER BY checked_on DESC, ref
