"""What can come of a treatment: spores broken or vanished, eggs that hatch, adults infected."""
