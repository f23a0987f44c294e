"""Fields photographed before and after treatment: the same spores, and what became of them."""
