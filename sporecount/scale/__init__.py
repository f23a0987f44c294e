"""Micrometres per pixel: where a photo's scale can come from."""
