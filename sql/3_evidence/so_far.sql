-- grain: one look during a course, with all that was known after it.
-- inputs: evidence. Parameters: hatch_days, pattern_good_pct, drone_repeat_days.
-- Every column is a running value over the course's looks up to this one, so a question
-- "as known on day d" reads the last row with day <= d. Days count from d0; *_ref names the
-- look that settled it.
WITH flagged AS (
    SELECT
        *,
        coalesce(bool_or(shows_brood) OVER before, false) AS had_brood,
        drone_hers = 1 AND pattern_hers < $pattern_good_pct AS is_few_low,
        count(*) FILTER (WHERE drone_hers = 0) OVER upto AS none_seen,
        max(CASE WHEN is_seen THEN day WHEN eggs_hers THEN day - $hatch_days END)
            OVER before AS alive_before,
        max(CASE WHEN drone_hers = 0 AND sealed_hers THEN day END) OVER before
            AS clean_before
    FROM evidence
    WINDOW
        upto AS (
            PARTITION BY course_id ORDER BY day
            ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
        ),
        before AS (
            PARTITION BY course_id ORDER BY day
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
        )
),

drones AS (
    SELECT
        *,
        coalesce(
            drone_hers = 2
            OR (
                is_few_low
                AND day - min(CASE WHEN is_few_low THEN day END) OVER (
                    -- the first such look since drone brood was last found absent
                    PARTITION BY course_id, none_seen ORDER BY day
                    ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
                ) >= $drone_repeat_days
            ),
            false
        ) AS is_drone_event,
        CASE WHEN NOT had_brood THEN bound_after END AS bound_after_onset
    FROM flagged
)

SELECT
    course_id,
    day,
    eggs_hers,
    alive_before,
    max(bound_after_onset) OVER upto AS onset_after,
    arg_max(ref, bound_after_onset) OVER upto AS onset_after_ref,
    min(bound_by) OVER upto AS onset_by,
    arg_min(ref, bound_by) OVER upto AS onset_by_ref,
    max(CASE WHEN shows_no_brood THEN day END) OVER upto AS no_brood_day,
    last_value(CASE WHEN shows_no_brood THEN ref END IGNORE NULLS) OVER upto AS no_brood_ref,
    last_value(pattern_hers IGNORE NULLS) OVER upto AS pattern_pct,
    last_value(CASE WHEN pattern_hers IS NOT NULL THEN ref END IGNORE NULLS) OVER upto
        AS pattern_ref,
    min(CASE WHEN is_drone_event THEN day END) OVER upto AS drone_day,
    first_value(CASE WHEN is_drone_event THEN ref END IGNORE NULLS) OVER upto AS drone_ref,
    first_value(CASE WHEN is_drone_event THEN coalesce(clean_before, 0) END IGNORE NULLS)
        OVER upto AS drone_after,
    max(CASE WHEN sealed_hers AND drone_hers = 0 THEN day END) OVER upto AS clean_day,
    max(CASE WHEN sealed_hers AND drone_hers <= 1 THEN day END) OVER upto AS calm_day,
    last_value(CASE WHEN sealed_hers AND drone_hers <= 1 THEN ref END IGNORE NULLS)
        OVER upto AS calm_ref,
    max(CASE WHEN is_seen OR eggs_hers THEN day END) OVER upto AS there_day,
    last_value(CASE WHEN is_seen OR eggs_hers THEN ref END IGNORE NULLS) OVER upto
        AS there_ref,
    max(CASE WHEN is_seen THEN day WHEN eggs_hers THEN day - $hatch_days END) OVER upto
        AS alive_day,
    max(CASE WHEN mark THEN day END) OVER upto AS mark_day,
    last_value(CASE WHEN mark THEN ref END IGNORE NULLS) OVER upto AS mark_ref
FROM drones
WINDOW upto AS (
    PARTITION BY course_id ORDER BY day
    ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
)
