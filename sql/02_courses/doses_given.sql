-- grain: one insemination dated up to the as-of day.
-- inputs: accepted_inseminations. Parameters: as_of, course_gap_days, from_first (day 0
--   is the course's first insemination instead of its last: for comparing doses).
-- Numbers each queen's courses (inseminations at most course_gap_days apart are one),
-- and names the main insemination of each: the largest dose, the last on a tie or
-- where a dose is unknown. The order is by time (a date without a time stands at
-- midnight, so first), insemination_id, dose, operator; `ref` only parts true twins.
-- queen_no: the queens in the order of their ids, a number cheaper to sort by than a text.
-- next_on: first insemination of the queen's next course (null: none).
WITH given AS (
    SELECT
        ref,
        queen_id,
        inseminated_at,
        insemination_id,
        dose_ul,
        operator,
        CAST(inseminated_at AS DATE) AS inseminated_on
    FROM accepted_inseminations
    WHERE CAST(inseminated_at AS DATE) <= $as_of
),

queens AS (
    SELECT queen_id, row_number() OVER (ORDER BY queen_id) AS queen_no
    FROM (SELECT DISTINCT queen_id FROM given)
),

ordered AS (
    SELECT
        given.ref,
        queens.queen_no,
        given.inseminated_on,
        given.dose_ul,
        row_number() OVER by_time AS turn,
        given.inseminated_on - lag(given.inseminated_on) OVER by_time AS gap_days
    FROM given
    INNER JOIN queens USING (queen_id)
    WINDOW by_time AS (
        PARTITION BY queens.queen_no
        ORDER BY
            given.inseminated_at, given.insemination_id, given.dose_ul, given.operator,
            given.ref
    )
),

numbered AS (
    SELECT
        * EXCLUDE (gap_days),
        CAST(
            1 + sum(CASE WHEN gap_days > $course_gap_days THEN 1 ELSE 0 END) OVER (
                PARTITION BY queen_no ORDER BY turn
            ) AS BIGINT
        ) AS course
    FROM ordered
),

gathered AS (
    SELECT
        *,
        bool_or(dose_ul IS NULL) OVER same_course AS has_unknown_dose,
        CASE
            WHEN $from_first THEN min(inseminated_on) OVER same_course
            ELSE max(inseminated_on) OVER same_course
        END AS d0,
        min(inseminated_on) OVER same_course AS first_on
    FROM numbered
    WINDOW same_course AS (PARTITION BY queen_no, course)
),

placed AS (
    SELECT
        ref,
        queen_no,
        turn,
        course,
        d0,
        first_on,
        min(first_on) OVER (
            -- the first insemination of any later course
            PARTITION BY queen_no ORDER BY course
            RANGE BETWEEN 1 FOLLOWING AND UNBOUNDED FOLLOWING
        ) AS next_on,
        row_number() OVER (
            PARTITION BY queen_no, course
            ORDER BY
                CASE WHEN NOT has_unknown_dose THEN dose_ul END DESC NULLS LAST,
                turn DESC
        ) = 1 AS is_main
    FROM gathered
)

SELECT
    placed.queen_no,
    placed.turn,
    placed.course,
    given.queen_id || '/' || placed.course AS course_id,
    placed.d0,
    placed.first_on,
    placed.next_on,
    placed.is_main,
    CAST(given.inseminated_at AS DATE) AS inseminated_on,
    given.inseminated_at <> date_trunc('day', given.inseminated_at) AS has_time,
    given.*
FROM placed
INNER JOIN accepted_inseminations AS given USING (ref)
