"""Whole histories of courses: a chain of states behind what was seen, filled in."""
