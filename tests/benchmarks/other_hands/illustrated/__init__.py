"""Photos painted as an illustrator would: outlines, gradients and textures, layer upon layer."""
