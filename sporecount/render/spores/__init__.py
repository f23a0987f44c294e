"""Ways to draw a spore."""
