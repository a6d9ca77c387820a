-- grain: one course x window with a scored pattern, of a queen still working on the
--   window's last day.
-- inputs: outcomes, histories. Those of queens that failed before it say nothing of the
--   share that works. state: yes, a good pattern, or no.
SELECT known.*, outcomes.window_days, outcomes.state
FROM outcomes
INNER JOIN histories AS known USING (course_id)
WHERE
    outcomes.outcome = 'pattern'
    AND outcomes.closed
    AND outcomes.state IN ('yes', 'no')
    AND known.alive_day >= outcomes.window_days
    AND coalesce(known.end_by > outcomes.window_days, true)
    AND coalesce(known.drone_by > outcomes.window_days, true)
