"""Curves by day from intervals and competing ends."""
