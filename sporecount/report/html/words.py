"""Numbers and names as a reader sees them."""

from __future__ import annotations

import math
import re
from typing import Any

#: Control letters, lone halves of letters, and letters that turn the reading direction round.
_HIDDEN = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")

#: Shown where a number is not known.
UNKNOWN = "not known"


def visible(text: str) -> str:
    r"""Spell out letters of a name that nobody sees, or that hide what is there.

    Examples
    --------
    >>> visible("wing\u202egpj.exe")
    'wing\\u202egpj.exe'
    >>> visible("Flügel 🦋 3.jpg")
    'Flügel 🦋 3.jpg'
    """
    return _HIDDEN.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def known(value: Any) -> bool:
    """Say whether a cell holds anything.

    Examples
    --------
    >>> [known(value) for value in (0, False, "a", "", None, float("nan"))]
    [True, True, True, False, False, False]
    """
    return not (value is None or value == "" or (isinstance(value, float) and math.isnan(value)))


def whole(value: Any) -> str:
    """Return a whole number, in groups of three once it is long.

    Examples
    --------
    >>> [whole(value) for value in (0, 9999, 117.9, 1234567, None)]
    ['0', '9999', '118', '1,234,567', 'not known']
    """
    if not known(value):
        return UNKNOWN
    number = round(float(value))
    return f"{number:,}" if abs(number) >= 10_000 else f"{number}"


def measure(value: Any, unit: str = "") -> str:
    """Return a number to three figures, never with an exponent.

    Examples
    --------
    >>> [measure(value, "mm²") for value in (12.345, 1234.5, 0.00321, 0)]
    ['12.3 mm²', '1234 mm²', '0.00321 mm²', '0 mm²']
    """
    if not known(value):
        return UNKNOWN
    number = float(value)
    if number == 0:
        text = "0"
    else:
        places = max(0, 2 - math.floor(math.log10(abs(number))))
        text = f"{number:.{places}f}"
        text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text} {unit}".strip()


def chance(value: Any) -> str:
    """Return a chance in percent; none is called 0 or 100.

    Examples
    --------
    >>> [chance(value) for value in (0.0, 0.0004, 0.05, 0.123, 0.9996, None)]
    ['below 0.1 %', 'below 0.1 %', '5.0 %', '12.3 %', 'above 99.9 %', 'not known']
    """
    if not known(value):
        return UNKNOWN
    number = float(value)
    if number < 0.001:
        return "below 0.1 %"
    return "above 99.9 %" if number > 0.999 else f"{100 * number:.1f} %"


def share(value: Any) -> str:
    """Return a share in whole percent.

    Examples
    --------
    >>> [share(value) for value in (0.0, 0.004, 0.256, float("nan"))]
    ['0 %', 'below 1 %', '26 %', 'not known']
    """
    if not known(value):
        return UNKNOWN
    if 0 < float(value) < 0.005:
        return "below 1 %"
    return f"{100 * float(value):.0f} %"


def several(number: int, word: str) -> str:
    """Return a number with its word.

    Examples
    --------
    >>> several(1, "photo"), several(3, "photo")
    ('1 photo', '3 photos')
    """
    return f"{number} {word}{'' if number == 1 else 's'}"


def sentence(text: str) -> str:
    """Return a text with a capital letter and a full stop.

    Examples
    --------
    >>> sentence("2 photos refused"), sentence("no spore seen?"), sentence("")
    ('2 photos refused.', 'No spore seen?', '')
    """
    text = text.strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?:" else ".")


def yes_no(value: Any) -> str:
    """Return yes, no, or that it is not known.

    Examples
    --------
    >>> yes_no(True), yes_no(0), yes_no(None)
    ('yes', 'no', 'not known')
    """
    return UNKNOWN if not known(value) else ("yes" if value else "no")
