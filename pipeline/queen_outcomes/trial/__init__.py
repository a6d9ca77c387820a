"""The next trial planned: its size, what to have ready, its bench list."""
