"""Running series of failures: sums, limits, learning."""
