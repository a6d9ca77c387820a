-- grain: one grouping x level x arm of courses with an arm.
-- inputs: arm_courses, courses. Where the courses of each arm lie: in whose hands, in which
-- line, season and graft batch. trial: null outside of trials. A level that is not recorded
-- is not counted.
WITH placed AS (
    SELECT
        arm_courses.trial,
        arm_courses.arm,
        courses.operator,
        courses.line,
        courses.season AS "year",
        courses.graft_batch
    FROM arm_courses
    INNER JOIN courses USING (course_id)
    WHERE arm_courses.arm <> ''
)

SELECT trial, arm, "grouping", level, count(*) AS courses
FROM (
    UNPIVOT placed ON operator, line, "year", graft_batch
    INTO NAME "grouping" VALUE level
)
GROUP BY ALL
ORDER BY ALL
