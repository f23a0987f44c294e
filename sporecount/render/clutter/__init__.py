"""Everything on a tape that is not a spore."""
