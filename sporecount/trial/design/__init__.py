"""How many slides, and spores on each, a trial needs to show the effect that is asked for."""
