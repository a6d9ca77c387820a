"""Step 2: what became of each queen, derived in SQL, and how often."""
