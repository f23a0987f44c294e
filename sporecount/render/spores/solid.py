"""Style "solid": stands in for the profile style until it is drawn."""

from sporecount.render.spores.profile import damaged, shatter, whole

__all__ = ["damaged", "shatter", "whole"]
