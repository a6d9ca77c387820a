-- grain: one reference and primary method of a comparison, as the build used them.
-- inputs: arm_contrasts. Parameters: trial (null: outside of trials).
SELECT DISTINCT reference, "method"
FROM arm_contrasts
WHERE "primary" AND trial IS NOT DISTINCT FROM $trial
