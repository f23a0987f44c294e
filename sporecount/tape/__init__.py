"""Many photos of one tape: where each lies, and each spore and square millimetre once."""
