-- grain: one course in whose looks drone-laying is first fulfilled.
-- inputs: evidence. Parameters: pattern_good_pct, drone_repeat_days.
-- Fulfilled on a day with many drone cells; or with few, at a second look with a poor
-- pattern drone_repeat_days or more after a first, none found absent in between.
-- drone_after: the last earlier day with sealed brood and no drone cells (0: none).
WITH suspects AS (
    SELECT
        *,
        drone_hers = 1 AND pattern_hers < $pattern_good_pct AS is_few_low,
        count(*) FILTER (WHERE drone_hers = 0) OVER upto AS none_seen,
        max(CASE WHEN drone_hers = 0 AND sealed_hers THEN day END) OVER upto AS clean_day
    FROM evidence
    SEMI JOIN (SELECT DISTINCT course_no FROM evidence WHERE drone_hers >= 1) AS drones
        USING (course_no)
    WINDOW upto AS (
        PARTITION BY course_no ORDER BY day
        ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
    )
),

fulfilled AS (
    SELECT *
    FROM suspects
    QUALIFY
        drone_hers = 2
        OR (
            is_few_low
            AND day - min(CASE WHEN is_few_low THEN day END) OVER (
                -- the first such look since drone brood was last found absent
                PARTITION BY course_no, none_seen ORDER BY day
                ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
            ) >= $drone_repeat_days
        )
)

SELECT
    course_no,
    day AS drone_day,
    ref AS drone_ref,
    coalesce(clean_day, 0) AS drone_after
FROM fulfilled
QUALIFY row_number() OVER (PARTITION BY course_no ORDER BY day) = 1
