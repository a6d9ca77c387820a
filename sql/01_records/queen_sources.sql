-- Grain: a source, a table it is read as, and a year of the table's days in it.
-- Inputs: dated_queens (ref, day, table), sources_read.
-- Units: records: rows with a queen's id and a day of that year.
SELECT s.source, d."table", year(d.day) AS year, count(*) AS records
FROM dated_queens AS d
JOIN sources_read AS s ON s.source_no = ref_source(d.ref)
GROUP BY ALL
ORDER BY s.source, d."table", year
