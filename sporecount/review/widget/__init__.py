"""The window of a review, a napari plugin: thin, since what it shows and does is beside it."""
