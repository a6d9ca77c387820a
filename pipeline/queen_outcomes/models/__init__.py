"""Statistical models: plain arrays in, frozen results out, nothing of the records."""
