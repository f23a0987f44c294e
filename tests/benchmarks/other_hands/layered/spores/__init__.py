"""Spores of the parasite: shape, substance, damage, pieces and where they lie."""
