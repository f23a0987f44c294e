"""What else lies on the tape, a family of things per file."""
