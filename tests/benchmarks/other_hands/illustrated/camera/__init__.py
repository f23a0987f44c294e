"""From the light of the scene to the picture that a camera hands out."""
