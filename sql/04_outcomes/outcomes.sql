-- grain: one course x outcome x window for which the course is at risk.
-- inputs: answers, queen_days, courses. Parameters: sources (names in the order of their
--   numbers; a ref is number * 2^36 + line).
-- state: yes, no, undecided (nobody looked at the right time), left (she left observation
-- first). after, by: the event's interval in days after d0, from records up to the window's
-- close; null for outcomes without a date. settled_by: at most five "source:line", the
-- deciding ones first.
WITH merged_days AS (SELECT ref, refs FROM queen_days WHERE refs IS NOT NULL),

named AS (
    SELECT
        * EXCLUDE (refs),
        refs.a AS ref_1,
        CASE WHEN refs.b <> refs.a OR refs.a IS NULL THEN refs.b END AS ref_2,
        CASE
            WHEN coalesce(refs.c <> refs.a, true) AND coalesce(refs.c <> refs.b, true)
                THEN refs.c
        END AS ref_3
    FROM answers
),

traced AS (
    -- the day's other rows too, where several looks of one day were merged; the cases
    -- spare the many answers that rest on one row the making of lists
    SELECT
        named.*,
        CASE
            WHEN coalesce(first_day.ref, second_day.ref, third_day.ref) IS NOT NULL
                THEN flatten([
                    coalesce(first_day.refs, [named.ref_1]),
                    coalesce(second_day.refs, [named.ref_2]),
                    coalesce(third_day.refs, [named.ref_3])
                ])
            WHEN named.ref_2 IS NOT NULL OR named.ref_3 IS NOT NULL
                THEN [named.ref_1, named.ref_2, named.ref_3]
        END AS several
    FROM named
    LEFT JOIN merged_days AS first_day ON named.ref_1 = first_day.ref
    LEFT JOIN merged_days AS second_day ON named.ref_2 = second_day.ref
    LEFT JOIN merged_days AS third_day ON named.ref_3 = third_day.ref
)

SELECT
    courses.course_id,
    traced.outcome,
    traced.window_days,
    traced.state,
    traced.closed,
    traced."after",
    traced."by",
    CASE
        WHEN traced.several IS NOT NULL
            THEN list_transform(
                list_filter(
                    traced.several,
                    lambda ref, place:
                        ref IS NOT NULL AND list_position(traced.several, ref) = place
                )[1:5],
                lambda ref: ref_place($sources, ref)
            )
        WHEN traced.ref_1 IS NOT NULL
            THEN [ref_place($sources, traced.ref_1)]
        ELSE []
    END AS settled_by
FROM traced
INNER JOIN courses USING (course_no)
