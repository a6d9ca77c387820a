"""Pages to print or to sit down with: PDF and HTML files made without a network."""
