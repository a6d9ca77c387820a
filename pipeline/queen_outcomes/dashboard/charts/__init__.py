"""One file a chart: rows in, an Altair chart out. Nothing here reads a table."""
