-- grain: one course. inputs: courses. Who inseminated, and of which batches; null: not recorded.
SELECT
    course_id,
    operator AS "by",
    graft_batch AS graft,
    semen_batch AS semen
FROM courses
ORDER BY course_id
