-- grain: one row: how the courses on record stand.
-- inputs: standings, quarantine. observed: neither ended, left nor followed by a further
-- course; quarantined: rows of the station's files.
SELECT
    count(*) AS courses,
    count(*) FILTER (
        WHERE exit_day IS NULL AND end_by IS NULL AND next_day IS NULL
    ) AS observed,
    (SELECT count(*) FROM (SELECT DISTINCT source, "table", line, slot FROM quarantine)) AS quarantined
FROM standings
WHERE window_days IS NULL
