-- Grain: a source and table that hold days of emergence.
-- Inputs: accepted_queens, accepted_inseminations.
-- Parameters: usual_low, usual_high (days of age that are usual at insemination), graft_days
--   (days from grafting to emergence).
-- Units: queens: with a day of emergence and an insemination; usual, usual_later: those whose
--   age that day is usual, and those whose age would be if the day were that of grafting.
WITH first_on AS (
    SELECT queen_id, CAST(min(inseminated_at) AS DATE) AS day
    FROM accepted_inseminations
    GROUP BY queen_id
), emerged AS (
    SELECT queen_id, emerged_on, ref, 'queens' AS "table" FROM accepted_queens
    UNION ALL
    SELECT queen_id, emerged_on, ref, 'inseminations' FROM accepted_inseminations
), aged AS (
    SELECT e.ref, e."table", f.day - e.emerged_on AS age
    FROM emerged AS e
    JOIN first_on AS f USING (queen_id)
    WHERE e.emerged_on IS NOT NULL
)
SELECT
    s.source, a."table", min(a.ref) AS ref, count(*) AS queens,
    count(*) FILTER (age BETWEEN $usual_low AND $usual_high) AS usual,
    count(*) FILTER (age - $graft_days BETWEEN $usual_low AND $usual_high) AS usual_later,
    CAST(median(age) AS INTEGER) AS middle
FROM aged AS a
JOIN sources_read AS s ON s.source_no = ref_source(a.ref)
GROUP BY s.source, a."table"
ORDER BY s.source, a."table"
