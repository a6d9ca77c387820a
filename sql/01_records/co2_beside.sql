-- Grain: one row: how the records of CO2 lie to the inseminations.
-- Inputs: accepted_co2, accepted_inseminations.
-- Units: listed: inseminations of queens with a CO2 record within 5 days; own: those of them
--   with one within 2 hours, or on the day where a time is missing; unlisted: inseminations of
--   queens without any; rows: CO2 records.
WITH given AS (
    SELECT
        i.ref, c.queen_id IS NOT NULL AS is_listed,
        coalesce(CASE
            WHEN i.inseminated_at = date_trunc('day', i.inseminated_at)
                OR c.given_at = date_trunc('day', c.given_at)
                THEN CAST(i.inseminated_at AS DATE) = CAST(c.given_at AS DATE)
            ELSE abs(date_diff('minute', i.inseminated_at, c.given_at)) <= 120
        END, false) AS is_own
    FROM accepted_inseminations AS i
    LEFT JOIN accepted_co2 AS c
        ON c.queen_id = i.queen_id
        AND abs(date_diff('day', i.inseminated_at, c.given_at)) <= 5
), per_insemination AS (
    SELECT bool_or(is_listed) AS is_listed, bool_or(is_own) AS is_own FROM given GROUP BY ref
)
SELECT
    count(*) FILTER (is_listed) AS listed,
    count(*) FILTER (is_own) AS own,
    count(*) FILTER (NOT is_listed) AS unlisted,
    (SELECT count(*) FROM accepted_co2) AS "rows",
    (SELECT min(ref) FROM accepted_co2) AS ref
FROM per_insemination
