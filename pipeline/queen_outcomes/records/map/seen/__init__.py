"""What is seen of a station's sheets: cells, headings, columns, and which tables they feed."""
