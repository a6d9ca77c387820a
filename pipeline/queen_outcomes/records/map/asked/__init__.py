"""What the sheets leave open, as questions with their evidence and, where one is sure, a default."""
