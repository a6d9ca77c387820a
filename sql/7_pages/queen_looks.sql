-- grain: one day of a course on which something about the queen was written down.
-- inputs: evidence, queen_days, courses, course_exits, accepted_exits. Parameter: sources.
SELECT
    courses.course_id,
    evidence.day,
    concat_ws(
        ', ',
        CASE WHEN days.queen_seen THEN 'queen' WHEN NOT days.queen_seen THEN 'no queen' END,
        CASE WHEN evidence.mark = false THEN 'not her mark' END,
        CASE WHEN days.eggs THEN 'eggs' WHEN NOT days.eggs THEN 'no eggs' END,
        CASE WHEN days.larvae THEN 'larvae' WHEN NOT days.larvae THEN 'no larvae' END,
        CASE WHEN days.sealed THEN 'sealed' WHEN NOT days.sealed THEN 'no sealed' END,
        'pattern ' || CAST(days.pattern_pct AS INTEGER) || ' %',
        CASE days.drone_rank WHEN 1 THEN 'few drone cells' WHEN 2 THEN 'many drone cells' END,
        CASE WHEN days.brood_given THEN 'brood given' END
    ) AS says,
    evidence.bound_after,
    evidence.bound_by,
    $sources[evidence.ref // 68719476736] || ':' || (evidence.ref % 68719476736) AS source
FROM evidence
INNER JOIN queen_days AS days
    ON evidence.queen_no = days.queen_no AND evidence.checked_on = days.checked_on
INNER JOIN courses USING (course_no)
UNION ALL
SELECT
    courses.course_id,
    exit_day,
    'left: ' || coalesce(exit_reason, 'no reason given'),
    NULL,
    NULL,
    $sources[exit_ref // 68719476736] || ':' || (exit_ref % 68719476736)
FROM course_exits
INNER JOIN courses USING (course_no)
WHERE exit_day IS NOT NULL
ORDER BY course_id, day, source
