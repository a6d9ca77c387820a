"""The chance of laying and the days to it, from intervals."""
