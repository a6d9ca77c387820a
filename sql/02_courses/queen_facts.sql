-- grain: one course.
-- inputs: doses_given, accepted_queens.
-- What is known of the queen herself: her own row first, else the earliest value that a
-- flat sheet gives in her inseminations up to this course (a later course's row must not
-- change what an earlier window said).
WITH flat AS (
    SELECT
        course_id,
        queen_id,
        queen_no,
        turn,
        first_value(line IGNORE NULLS) OVER so_far AS line,
        first_value(graft_batch IGNORE NULLS) OVER so_far AS graft_batch,
        first_value(emerged_on IGNORE NULLS) OVER so_far AS emerged_on,
        first_value(marked IGNORE NULLS) OVER so_far AS marked
    FROM doses_given
    WINDOW so_far AS (
        PARTITION BY queen_no ORDER BY turn
        ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
    )
)

SELECT
    flat.course_id,
    coalesce(queens.line, flat.line) AS line,
    coalesce(queens.graft_batch, flat.graft_batch) AS graft_batch,
    coalesce(queens.emerged_on, flat.emerged_on) AS emerged_on,
    coalesce(queens.marked, flat.marked) AS marked
FROM flat
LEFT JOIN accepted_queens AS queens USING (queen_id)
QUALIFY row_number() OVER (PARTITION BY flat.course_id ORDER BY flat.turn DESC) = 1
