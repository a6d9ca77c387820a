"""Step 6: the finished tables become charts, and the charts pages."""
