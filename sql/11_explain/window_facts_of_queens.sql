-- grain: one course x window of the queens asked for.
-- inputs: window_facts, courses. Parameter: queens (a list of ids).
-- What stands in the place of window_facts where the answers are only told once more.
SELECT facts.*
FROM main.window_facts AS facts
SEMI JOIN (
    SELECT course_no
    FROM courses
    SEMI JOIN (SELECT unnest($queens) AS queen_id) AS named USING (queen_id)
) AS asked ON facts.course_no = asked.course_no
