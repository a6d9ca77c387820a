-- grain: one checker x what a look may record. inputs: accepted_checks. Parameter: as_of.
-- looks: rows of the checker's up to the as-of day; recorded: those that say it.
WITH counts AS (
    SELECT
        checker,
        count(*) AS looks,
        count(queen_seen) AS queen_seen,
        count(mark_seen) AS mark_seen,
        count(eggs) AS eggs,
        count(larvae) AS larvae,
        count(sealed) AS sealed,
        count(pattern_pct) AS pattern_pct,
        count(drone_in_worker) AS drone_in_worker,
        count(queen_cells) AS queen_cells
    FROM accepted_checks
    WHERE checker IS NOT NULL AND checked_on <= $as_of
    GROUP BY checker
)

UNPIVOT counts ON COLUMNS(* EXCLUDE (checker, looks)) INTO NAME item VALUE recorded
