"""Shares and counts: limits, tests, spread between groups, sizes."""
