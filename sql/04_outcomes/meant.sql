-- grain: one course.
-- inputs: courses, co2_schedule, ends.
-- What was meant for a course of what only the living can get.
-- doses, dose: as most courses of its protocol got them, where fewer were given; else as
-- given (dose: as meant, else as given). units: uL.
-- later_open: the chance, 0-1, that she was gone before a later CO2 exposure was due, where
-- none is recorded: the records do not tell then whether one was meant. It was due by the day
-- by which 95 % of the later exposures came; the days on which she may have gone are as
-- likely as one another. gone_first: she was gone by that day, whatever she got.
WITH due AS (
    SELECT quantile_disc(gap_days, 0.95) AS day
    FROM co2_schedule
    WHERE co2_schedule = 'other after'
),

usual AS (
    SELECT protocol, quantile_disc(doses, 0.5) AS doses
    FROM courses
    GROUP BY protocol
),

usual_doses AS (
    SELECT
        protocol,
        usual.doses,
        quantile_disc(coalesce(courses.dose_meant_ul, courses.dose_ul), 0.5) AS dose
    FROM courses
    INNER JOIN usual USING (protocol)
    WHERE courses.doses = usual.doses
    GROUP BY protocol, usual.doses
)

SELECT
    courses.course_id,
    greatest(courses.doses, usual_doses.doses) AS doses,
    CASE
        WHEN courses.doses < usual_doses.doses THEN usual_doses.dose
        ELSE coalesce(courses.dose_meant_ul, courses.dose_ul)
    END AS dose,
    CASE
        WHEN courses.co2_schedule IN ('other before', 'other after') THEN 0.0
        WHEN due.day <= ends."after" OR ends.course_id IS NULL OR due.day IS NULL THEN 0.0
        WHEN ends.by <= due.day THEN 1.0
        ELSE (due.day - ends."after") / (ends.by - ends."after")
    END AS later_open,
    coalesce(ends.by <= due.day, false) AS gone_first
FROM courses
CROSS JOIN due
LEFT JOIN usual_doses USING (protocol)
LEFT JOIN ends USING (course_id)
