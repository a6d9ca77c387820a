-- grain: one look during a course, with all that was known after it.
-- inputs: evidence. Parameters: hatch_days.
-- Every column is a running value over the course's looks up to this one, so a question
-- "as known on day d" reads the row with day <= d < next_day. Days count from d0; *_ref
-- names the look that settled it.
WITH begun AS (
    SELECT course_no, min(day) AS brood_day FROM evidence WHERE shows_brood GROUP BY course_no
),

flagged AS (
    SELECT
        evidence.*,
        CASE WHEN coalesce(evidence.day <= begun.brood_day, true) THEN evidence.bound_after
        END AS bound_after_onset,
        CASE
            WHEN evidence.is_seen THEN evidence.day
            WHEN evidence.eggs_hers THEN evidence.day - $hatch_days
        END AS alive_on
    FROM evidence
    LEFT JOIN begun USING (course_no)
)

SELECT
    course_no,
    day,
    lead(day, 1, 1000000) OVER (PARTITION BY course_no ORDER BY day) AS next_day,
    eggs_hers,
    max(alive_on) OVER before AS alive_before,
    max(bound_after_onset) OVER upto AS onset_after,
    arg_max(ref, bound_after_onset) OVER upto AS onset_after_ref,
    min(bound_by) OVER upto AS onset_by,
    arg_min(ref, bound_by) OVER upto AS onset_by_ref,
    max(CASE WHEN shows_no_brood THEN day END) OVER upto AS no_brood_day,
    last_value(CASE WHEN shows_no_brood THEN ref END IGNORE NULLS) OVER upto AS no_brood_ref,
    last_value(pattern_hers IGNORE NULLS) OVER upto AS pattern_pct,
    last_value(CASE WHEN pattern_hers IS NOT NULL THEN ref END IGNORE NULLS) OVER upto
        AS pattern_ref,
    max(CASE WHEN sealed_hers AND drone_hers = 0 THEN day END) OVER upto AS clean_day,
    max(CASE WHEN sealed_hers AND drone_hers <= 1 THEN day END) OVER upto AS calm_day,
    last_value(CASE WHEN sealed_hers AND drone_hers <= 1 THEN ref END IGNORE NULLS)
        OVER upto AS calm_ref,
    max(CASE WHEN is_seen OR eggs_hers THEN day END) OVER upto AS there_day,
    last_value(CASE WHEN is_seen OR eggs_hers THEN ref END IGNORE NULLS) OVER upto
        AS there_ref,
    max(alive_on) OVER upto AS alive_day,
    max(CASE WHEN mark THEN day END) OVER upto AS mark_day,
    last_value(CASE WHEN mark THEN ref END IGNORE NULLS) OVER upto AS mark_ref
FROM flagged
WINDOW upto AS (
    PARTITION BY course_no ORDER BY day
    ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
), before AS (
    PARTITION BY course_no ORDER BY day
    ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
)
