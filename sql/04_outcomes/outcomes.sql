-- grain: one course x outcome x window for which the course is at risk.
-- inputs: answers, queen_days, courses. Parameters: questions (outcome, window_days), sources (names
-- in the order of their numbers; a ref is number * 2^36 + line).
-- state: yes, no, undecided (nobody looked at the right time), left (she left observation
-- first). after, by: the event's interval in days after d0, from records up to the window's
-- close; null for pattern and established. settled_by: at most five "source:line", the
-- deciding ones first.
WITH merged_days AS (SELECT ref, refs FROM queen_days WHERE refs IS NOT NULL),

asked AS (
    SELECT answers.*, question.outcome
    FROM answers
    INNER JOIN (SELECT unnest($questions, recursive := true)) AS question USING (window_days)
),

stated AS (
    SELECT
        course_no,
        outcome,
        window_days,
        closed,
        CASE
            WHEN outcome = 'laying' THEN laying
            WHEN outcome = 'pattern' THEN pattern
            WHEN outcome IN ('drone_layer', 'superseded') AND laying IN ('undecided', 'left')
                THEN laying
            WHEN outcome = 'drone_layer' THEN CASE
                WHEN drone_by <= window_days THEN 'yes'
                WHEN calm_day >= window_days OR drone_since >= window_days THEN 'no'
                WHEN is_ended OR is_out THEN 'left'
                ELSE 'undecided'
            END
            WHEN outcome = 'superseded' THEN CASE
                WHEN end_reason = 'superseded' AND is_ended THEN 'yes'
                WHEN
                    mark_day >= window_days
                    OR (end_reason = 'superseded' AND end_after >= window_days)
                    THEN 'no'
                WHEN is_ended OR is_out THEN 'left'
                ELSE 'undecided'
            END
            WHEN outcome = 'lost' THEN CASE
                WHEN end_reason IN ('dead', 'missing') AND is_ended THEN 'yes'
                WHEN last_there_day >= window_days THEN 'no'
                WHEN is_ended OR is_out THEN 'left'
                ELSE 'undecided'
            END
            WHEN laying = 'no' OR is_ended OR drone_by <= window_days OR pattern = 'no'
                THEN 'no'
            WHEN laying = 'yes' AND last_there_day >= window_days THEN 'yes'
            WHEN is_out THEN 'left'
            ELSE 'undecided'
        END AS state,
        CASE outcome
            WHEN 'laying' THEN onset_after
            WHEN 'drone_layer' THEN drone_since
            WHEN 'superseded' THEN
                CASE WHEN end_reason = 'superseded' THEN end_after
                    ELSE greatest(0, alive_day) END
            WHEN 'lost' THEN
                CASE WHEN end_reason IN ('dead', 'missing') THEN end_after
                    ELSE greatest(0, last_there_day) END
        END AS "after",
        CASE outcome
            WHEN 'laying' THEN onset_by
            WHEN 'drone_layer' THEN drone_by
            WHEN 'superseded' THEN CASE WHEN end_reason = 'superseded' THEN end_by END
            WHEN 'lost' THEN CASE WHEN end_reason IN ('dead', 'missing') THEN end_by END
        END AS "by",
        CASE
            WHEN state = 'undecided' THEN NULL
            WHEN outcome = 'laying' THEN laying_refs
            WHEN outcome IN ('pattern', 'drone_layer', 'superseded') AND laying = 'left'
                THEN laying_refs
            WHEN outcome = 'pattern' AND state <> 'left'
                THEN {'a': pattern_ref, 'b': NULL, 'c': NULL}
            WHEN outcome = 'drone_layer' AND state = 'yes'
                THEN {'a': drone_by_ref, 'b': NULL, 'c': NULL}
            WHEN outcome = 'drone_layer' AND state = 'no'
                THEN {'a': calm_ref, 'b': NULL, 'c': NULL}
            WHEN outcome = 'superseded' AND state = 'no' AND mark_day >= window_days
                THEN {'a': mark_ref, 'b': NULL, 'c': NULL}
            WHEN outcome = 'lost' AND state = 'no'
                THEN {'a': last_there_ref, 'b': NULL, 'c': NULL}
            WHEN outcome = 'established' AND state = 'yes'
                THEN {'a': onset_by_ref, 'b': last_there_ref, 'c': pattern_ref}
            WHEN outcome = 'established' AND state = 'no' THEN CASE
                WHEN is_ended THEN {'a': end_ref, 'b': end_second_ref, 'c': NULL}
                WHEN laying = 'no' THEN laying_refs
                WHEN drone_by <= window_days THEN {'a': drone_by_ref, 'b': NULL, 'c': NULL}
                ELSE {'a': pattern_ref, 'b': NULL, 'c': NULL}
            END
            WHEN outcome <> 'established' AND is_ended OR state = 'no'
                THEN {'a': end_ref, 'b': end_second_ref, 'c': NULL}
            ELSE {'a': out_ref, 'b': NULL, 'c': NULL}
        END AS refs
    FROM asked
    WHERE
        outcome IN ('laying', 'lost', 'established')
        OR (outcome = 'superseded' AND laying <> 'no' AND is_marked)
        OR (outcome IN ('pattern', 'drone_layer') AND laying <> 'no')
),

named AS (
    SELECT
        * EXCLUDE (refs),
        refs.a AS ref_1,
        CASE WHEN refs.b <> refs.a OR refs.a IS NULL THEN refs.b END AS ref_2,
        CASE
            WHEN coalesce(refs.c <> refs.a, true) AND coalesce(refs.c <> refs.b, true)
                THEN refs.c
        END AS ref_3
    FROM stated
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
                lambda ref: $sources[ref // 68719476736] || ':' || (ref % 68719476736)
            )
        WHEN traced.ref_1 IS NOT NULL
            THEN [$sources[traced.ref_1 // 68719476736] || ':' || (traced.ref_1 % 68719476736)]
        ELSE []
    END AS settled_by
FROM traced
INNER JOIN courses USING (course_no)
