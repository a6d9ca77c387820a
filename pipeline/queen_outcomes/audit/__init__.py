"""The audit of technique: plain arrays in, frozen results out, nothing of the records."""
