"""Reports that people read: one self-contained HTML file for a sample or for a season."""
