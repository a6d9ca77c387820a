-- grain: one outcome x window x grouping x level.
-- inputs: cluster_counts. Parameters: min_shown (closed courses), z (1.96 for 95 % limits).
-- rate: yes / (yes + no) over closed courses, a probability; null under min_shown.
-- low, high: Wilson's limits on the effective number of courses, which is yes + no over the
--   Rao-Scott design effect by graft batch (ratio estimator), never above yes + no; one
--   batch alone gives no design effect. rate_if_no, rate_if_yes: all of undecided and left
--   counted as no, then as yes. estimate: from the curves, which use every course for as
--   long as it was seen; null until those exist.
WITH counted AS (
    SELECT
        outcome,
        window_days,
        "grouping",
        level,
        sum(open + yes + "no" + undecided + "left") AS courses,
        sum(open) AS open,
        sum(yes + "no" + undecided + "left") AS closed,
        sum(yes) AS yes,
        sum("no") AS "no",
        sum(undecided) AS undecided,
        sum("left") AS "left",
        count(*) FILTER (WHERE yes + "no" > 0) AS clusters,
        -- whole numbers, so that the sums do not depend on the order they are taken in
        sum(yes * yes) AS sum_xx,
        sum(yes * (yes + "no")) AS sum_xn,
        sum((yes + "no") * (yes + "no")) AS sum_nn
    FROM cluster_counts
    GROUP BY outcome, window_days, "grouping", level
),

proportions AS (
    SELECT
        *,
        CASE WHEN closed >= $min_shown AND yes + "no" > 0 THEN yes / (yes + "no") END AS p,
        CASE
            WHEN clusters > 1 AND yes > 0 AND "no" > 0
                THEN greatest(
                    1,
                    clusters / (clusters - 1)
                    * (sum_xx - 2 * p * sum_xn + p * p * sum_nn)
                    / ((yes + "no") * p * (1 - p))
                )
            ELSE 1
        END AS design_effect,
        (yes + "no") / design_effect AS n,
        p + $z * $z / (2 * n) AS middle,
        $z * sqrt(p * (1 - p) / n + $z * $z / (4 * n * n)) AS spread
    FROM counted
)

SELECT
    outcome,
    window_days,
    "grouping",
    level,
    CAST(courses AS BIGINT) AS courses,
    CAST(open AS BIGINT) AS open,
    CAST(closed AS BIGINT) AS closed,
    CAST(yes AS BIGINT) AS yes,
    CAST("no" AS BIGINT) AS "no",
    CAST(undecided AS BIGINT) AS undecided,
    CAST("left" AS BIGINT) AS "left",
    p AS rate,
    -- rounding may carry a limit past 0 or 1; NULL stays NULL
    CASE WHEN p IS NOT NULL THEN greatest(0, (middle - spread) / (1 + $z * $z / n)) END AS low,
    CASE WHEN p IS NOT NULL THEN least(1, (middle + spread) / (1 + $z * $z / n)) END AS high,
    CASE WHEN closed >= $min_shown THEN yes / closed END AS rate_if_no,
    CASE WHEN closed >= $min_shown THEN (yes + undecided + "left") / closed END
        AS rate_if_yes,
    CAST(NULL AS DOUBLE) AS estimate,
    CAST(NULL AS DOUBLE) AS estimate_low,
    CAST(NULL AS DOUBLE) AS estimate_high
FROM proportions
ORDER BY outcome, window_days, "grouping", level
