"""An arm of a trial against the control, with the slide as the unit."""
