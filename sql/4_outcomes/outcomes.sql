-- grain: one course x outcome x window for which the course is at risk.
-- inputs: answers, queen_days. Parameters: questions (outcome, window_days), sources (names
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
        course_id,
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
            WHEN state = 'undecided' THEN []
            WHEN outcome = 'laying' THEN laying_refs
            WHEN outcome IN ('pattern', 'drone_layer', 'superseded') AND laying = 'left'
                THEN laying_refs
            WHEN outcome = 'pattern' AND state IN ('yes', 'no') THEN [pattern_ref]
            WHEN outcome = 'drone_layer' AND state = 'yes' THEN [drone_by_ref]
            WHEN outcome = 'drone_layer' AND state = 'no' THEN [calm_ref]
            WHEN outcome = 'superseded' AND state = 'no' AND mark_day >= window_days
                THEN [mark_ref]
            WHEN outcome = 'lost' AND state = 'no' THEN [last_there_ref]
            WHEN outcome = 'established' AND state = 'yes'
                THEN [onset_by_ref, last_there_ref, pattern_ref]
            WHEN outcome = 'established' AND state = 'no' THEN CASE
                WHEN is_ended THEN [end_ref, end_second_ref]
                WHEN laying = 'no' THEN laying_refs
                WHEN drone_by <= window_days THEN [drone_by_ref]
                ELSE [pattern_ref]
            END
            WHEN outcome <> 'established' AND is_ended THEN [end_ref, end_second_ref]
            WHEN state = 'no' THEN [end_ref, end_second_ref]
            ELSE [out_ref]
        END AS refs
    FROM asked
    WHERE
        outcome IN ('laying', 'lost', 'established')
        OR (outcome = 'superseded' AND laying <> 'no' AND is_marked)
        OR (outcome IN ('pattern', 'drone_layer') AND laying <> 'no')
),

traced AS (
    -- the day's other rows where several looks of one day were merged; no row twice
    SELECT
        stated.* EXCLUDE (refs),
        flatten([
            coalesce(first_day.refs, [stated.refs[1]]),
            coalesce(second_day.refs, [stated.refs[2]]),
            coalesce(third_day.refs, [stated.refs[3]])
        ]) AS every_ref,
        list_filter(
            every_ref,
            lambda ref, place: ref IS NOT NULL AND list_position(every_ref, ref) = place
        )[1:5] AS refs
    FROM stated
    LEFT JOIN merged_days AS first_day ON stated.refs[1] = first_day.ref
    LEFT JOIN merged_days AS second_day ON stated.refs[2] = second_day.ref
    LEFT JOIN merged_days AS third_day ON stated.refs[3] = third_day.ref
)

SELECT
    course_id,
    outcome,
    window_days,
    state,
    closed,
    "after",
    "by",
    list_transform(
        refs, lambda ref: $sources[ref // 68719476736] || ':' || (ref % 68719476736)
    ) AS settled_by
FROM traced
