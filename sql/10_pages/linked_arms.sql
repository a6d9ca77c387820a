-- grain: one course with an arm, the latest first. inputs: arm_courses, courses.
-- What it shares with others, so that the charts of a page can mark the same courses.
SELECT
    arm_courses.arm,
    courses.operator
FROM arm_courses
INNER JOIN courses USING (course_id)
WHERE arm_courses.arm <> ''
ORDER BY courses.d0 DESC, course_id
