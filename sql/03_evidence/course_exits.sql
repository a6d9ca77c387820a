-- grain: one course with an exit, or with a laboratory result that stands for one.
-- inputs: accepted_exits, accepted_lab, courses. Parameter: as_of.
-- Only a course's first exit counts; on one day the graver reason. sampled_day: day of a
-- laboratory result, which ends observation while no exit of hers is on record.
WITH exits AS (
    SELECT
        courses.course_no,
        exits.left_on - courses.d0 AS exit_day,
        exits.reason,
        exits.ref,
        row_number() OVER (
            PARTITION BY courses.course_no
            ORDER BY
                exits.left_on,
                list_position(
                    [
                        'dead', 'missing', 'superseded', 'drone_layer', 'culled_fault',
                        'sold', 'moved', 'culled_other', 'colony_lost', 'swarmed', 'sampled'
                    ],
                    exits.reason
                ) NULLS LAST,
                exits.ref
        ) AS turn
    FROM accepted_exits AS exits
    ASOF INNER JOIN courses
        ON exits.queen_id = courses.queen_id AND exits.left_on >= courses.d0
    WHERE exits.left_on <= $as_of
),

samples AS (
    SELECT
        courses.course_no,
        lab.sampled_on - courses.d0 AS sampled_day,
        lab.ref
    FROM accepted_lab AS lab
    ASOF INNER JOIN courses
        ON lab.queen_id = courses.queen_id AND lab.sampled_on >= courses.d0
    ANTI JOIN (
        -- a queen who had left before this course was never only a sample
        SELECT exits.queen_id, exits.left_on
        FROM accepted_exits AS exits
    ) AS earlier
        ON lab.queen_id = earlier.queen_id AND earlier.left_on < courses.d0
    WHERE lab.sampled_on <= $as_of
    QUALIFY row_number() OVER (
        PARTITION BY courses.course_no ORDER BY lab.sampled_on, lab.ref
    ) = 1
)

SELECT
    course_no,
    exits.exit_day,
    exits.reason AS exit_reason,
    exits.ref AS exit_ref,
    samples.sampled_day,
    samples.ref AS sampled_ref
FROM (SELECT * FROM exits WHERE turn = 1) AS exits
FULL JOIN samples USING (course_no)
