"""What a count leaves behind: tables, marked copies of the photos, the record of the run."""
