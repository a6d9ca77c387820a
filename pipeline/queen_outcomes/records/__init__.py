"""Step 1: what the station wrote becomes accepted rows and quarantined rows."""
