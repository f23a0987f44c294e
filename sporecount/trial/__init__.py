"""Sanitizer trials: which agent breaks spores, and how surely, with the slide as the unit."""
