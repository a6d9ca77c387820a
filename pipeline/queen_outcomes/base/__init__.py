"""What everything stands on: store, console, errors, folders, packaged files."""
