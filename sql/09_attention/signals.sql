-- grain: a change for the worse that a running series saw this season, by its first signal.
-- inputs: operator_signals, signal_batches. Parameters: as_of, recent_days (how far back).
-- operator: null for the whole station. batch: the one that holds most of what lies beyond
-- the expected, null where that is under half of it.
WITH first_signals AS (
    SELECT *
    FROM operator_signals
    WHERE direction = 'worse'
    QUALIFY row_number() OVER (
        PARTITION BY operator, episode ORDER BY known_on, "case", series = 'drift'
    ) = 1
),

worst_batches AS (
    SELECT operator, series, "case", batch, kind, failures - expected AS beyond
    FROM signal_batches
    WHERE kind = 'graft_batch'
    QUALIFY row_number() OVER (
        PARTITION BY operator, series, "case" ORDER BY failures - expected DESC, batch
    ) = 1
)

SELECT
    found.operator,
    found.series,
    found.known_on,
    found.courses,
    found.failures,
    found.expected,
    CASE
        WHEN worst.beyond >= (found.failures - found.expected) / 2 THEN worst.batch
    END AS batch
FROM first_signals AS found
LEFT JOIN worst_batches AS worst
    ON worst.operator IS NOT DISTINCT FROM found.operator
    AND worst.series = found.series
    AND worst."case" = found."case"
WHERE found.known_on > $as_of - $recent_days
ORDER BY found.known_on DESC, found.operator NULLS FIRST
