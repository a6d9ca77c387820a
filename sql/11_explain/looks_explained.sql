-- grain: one look during a course of the queens asked for, with the interval it implies.
-- inputs: evidence, standings, courses. Parameters: queens (a list of ids), sources,
--   emerge_days. ref: the day's first row, to join by.
SELECT
    courses.course_id,
    evidence.ref,
    evidence.day,
    ref_place($sources, evidence.ref) AS source,
    concat_ws(
        ', ',
        CASE WHEN evidence.eggs_hers THEN 'eggs' END,
        CASE WHEN evidence.larvae_hers THEN 'larvae' END,
        CASE WHEN evidence.sealed_hers THEN 'sealed' END,
        'pattern ' || evidence.pattern_hers || ' %',
        CASE evidence.drone_hers WHEN 0 THEN 'no drone brood' WHEN 1 THEN 'few drone cells'
            WHEN 2 THEN 'many drone cells' END,
        CASE WHEN evidence.is_seen THEN 'herself' END
    ) AS hers,
    evidence.bound_after AS laying_after,
    evidence.bound_by AS laying_by,
    concat_ws(
        '; ',
        CASE WHEN evidence.mark = false THEN 'another queen was there' END,
        CASE WHEN evidence.is_older THEN 'brood too old to be hers' END,
        CASE WHEN evidence.since_given <= $emerge_days
            THEN 'brood not hers came in ' || evidence.since_given || ' days before' END,
        CASE WHEN evidence.is_empty THEN 'neither queen nor eggs' END,
        CASE WHEN evidence.day > standings.end_by THEN 'after her end: not used' END
    ) AS remark
FROM evidence
INNER JOIN standings USING (course_no)
INNER JOIN courses USING (course_no)
SEMI JOIN (SELECT unnest($queens) AS queen_id) AS asked ON courses.queen_id = asked.queen_id
WHERE standings.window_days IS NULL
ORDER BY courses.queen_id, courses.course, evidence.day
