-- grain: one CO2 exposure of a queen (her day and time), dated up to the as-of day.
-- inputs: accepted_co2, doses_given (a flat sheet's other exposure).
-- Parameter: co2 (see co2_schedule.sql).
-- The same exposure written in both places counts once. is_other: a flat sheet, or the
-- settings for all records, say that it is not the procedure's own.
SELECT
    queen_id,
    given_at,
    given_at <> date_trunc('day', given_at) AS has_time,
    bool_or(is_other) AS is_other
FROM (
    SELECT queen_id, given_at, $co2 = 'other' AS is_other
    FROM accepted_co2
    UNION ALL
    SELECT queen_id, co2_other_at, true AS is_other
    FROM doses_given
)
WHERE CAST(given_at AS DATE) <= $as_of
GROUP BY queen_id, given_at
