-- grain: one insemination dated up to the as-of day.
-- inputs: accepted_inseminations. Parameters: as_of, course_gap_days.
-- Numbers each queen's courses (inseminations at most course_gap_days apart are one),
-- and names the main insemination of each: the largest dose, the last on a tie or
-- where a dose is unknown. The order is by time (a date without a time stands at
-- midnight, so first), insemination_id, dose, operator; `ref` only parts true twins.
-- queen_no: the queens in the order of their ids, a number cheaper to sort by than a text.
WITH queens AS (
    SELECT queen_id, row_number() OVER (ORDER BY queen_id) AS queen_no
    FROM (
        SELECT DISTINCT queen_id
        FROM accepted_inseminations
        WHERE CAST(inseminated_at AS DATE) <= $as_of
    )
),

dated AS (
    SELECT
        queens.queen_no,
        given.*,
        CAST(given.inseminated_at AS DATE) AS inseminated_on,
        given.inseminated_at <> date_trunc('day', given.inseminated_at) AS has_time,
        row_number() OVER (
            PARTITION BY queens.queen_no
            ORDER BY
                given.inseminated_at, given.insemination_id, given.dose_ul, given.operator,
                given.ref
        ) AS turn
    FROM accepted_inseminations AS given
    INNER JOIN queens USING (queen_id)
    WHERE CAST(given.inseminated_at AS DATE) <= $as_of
),

numbered AS (
    SELECT
        *,
        1 + sum(CASE WHEN gap_days > $course_gap_days THEN 1 ELSE 0 END) OVER (
            PARTITION BY queen_no ORDER BY turn
        ) AS course
    FROM (
        SELECT
            *,
            inseminated_on - lag(inseminated_on) OVER (
                PARTITION BY queen_no ORDER BY turn
            ) AS gap_days
        FROM dated
    )
),

gathered AS (
    SELECT
        *,
        bool_or(dose_ul IS NULL) OVER same_course AS has_unknown_dose,
        max(inseminated_on) OVER same_course AS d0,
        min(inseminated_on) OVER same_course AS first_on
    FROM numbered
    WINDOW same_course AS (PARTITION BY queen_no, course)
)

SELECT
    * EXCLUDE (gap_days, has_unknown_dose, course),
    CAST(course AS BIGINT) AS course,
    queen_id || '/' || course AS course_id,
    row_number() OVER (
        PARTITION BY queen_no, course
        ORDER BY
            CASE WHEN NOT has_unknown_dose THEN dose_ul END DESC NULLS LAST,
            turn DESC
    ) = 1 AS is_main
FROM gathered
