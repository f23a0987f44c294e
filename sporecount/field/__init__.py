"""From a photo to the field: the sample, evenly lit, at the working scale, and fit to judge."""
