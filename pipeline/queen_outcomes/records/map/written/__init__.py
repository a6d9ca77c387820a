"""What was answered, as the rules, files' habits and words of `station.toml`."""
