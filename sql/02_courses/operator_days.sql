-- grain: one insemination whose operator is recorded.
-- inputs: doses_given.
-- operator_case: running number of the operator's inseminations in the records.
-- operator_gap_days: days since the operator's last working day (null on the first).
-- bench_order: running number among the operator's queens that day.
WITH working_days AS (
    SELECT
        operator,
        inseminated_on,
        inseminated_on - lag(inseminated_on) OVER (
            PARTITION BY operator ORDER BY inseminated_on
        ) AS operator_gap_days
    FROM (SELECT DISTINCT operator, inseminated_on FROM doses_given)
    WHERE operator IS NOT NULL
),

cases AS (
    SELECT
        ref,
        operator,
        inseminated_on,
        queen_id,
        row_number() OVER (
            PARTITION BY operator
            ORDER BY inseminated_at, insemination_id, dose_ul, queen_id, ref
        ) AS operator_case
    FROM doses_given
    WHERE operator IS NOT NULL
),

bench AS (
    SELECT
        operator,
        inseminated_on,
        queen_id,
        row_number() OVER (
            PARTITION BY operator, inseminated_on ORDER BY min(operator_case)
        ) AS bench_order
    FROM cases
    GROUP BY operator, inseminated_on, queen_id
)

SELECT
    cases.ref,
    cases.operator_case,
    working_days.operator_gap_days,
    bench.bench_order
FROM cases
INNER JOIN working_days USING (operator, inseminated_on)
INNER JOIN bench USING (operator, inseminated_on, queen_id)
