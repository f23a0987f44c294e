"""Things on the tape that are no spores, by kind, and how they are strewn."""
