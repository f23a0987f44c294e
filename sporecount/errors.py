"""Errors that a person can act on.

Every error says three things: what was given, what is wrong with it, and what
to do next. The command line prints them as one line.
"""

from __future__ import annotations


class SporecountError(Exception):
    """Base of all errors this package raises on purpose.

    Parameters
    ----------
    given : str
        What was given: a file name, an option and its value.
    wrong : str
        What is wrong with it, without a full stop.
    remedy : str
        What to do next, without a full stop.

    Examples
    --------
    >>> str(SporecountError("scale 0", "a scale is larger than 0", "give um per pixel"))
    'scale 0: a scale is larger than 0. Give um per pixel.'
    """

    def __init__(self, given: str, wrong: str, remedy: str) -> None:
        self.given = given
        self.wrong = wrong
        self.remedy = remedy
        super().__init__(given, wrong, remedy)

    def __str__(self) -> str:
        remedy = self.remedy[:1].upper() + self.remedy[1:]
        return f"{self.given}: {self.wrong}. {remedy}."


class PhotoUnreadableError(SporecountError):
    """A file that cannot be read as a whole picture."""


class ScaleError(SporecountError):
    """No scale, an impossible one, or sources that contradict each other."""


class RulingError(ScaleError):
    """No trustworthy scale can be read from a photo of a stage micrometer."""


class SheetError(SporecountError):
    """A sheet of photos (CSV) that cannot be used."""


class SettingsError(SporecountError):
    """A setting outside its bounds, or a settings file that cannot be used."""
