"""Spores: how they are painted, damaged, broken and placed."""
