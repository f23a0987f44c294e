"""Strengths and volumes as people write them, and as numbers.

ppm here is mg/L, with 1 % = 10 000 ppm (weight by volume) [who2014]. A label says percent
sodium hypochlorite, which is not exactly percent available chlorine.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from sporecount.bath.errors import BathError

PPM_PER_PERCENT = 10_000.0

#: Millilitres in one of each unit; the US ones are exact by definition.
ML_PER: dict[str, float] = {
    "ml": 1.0,
    "cl": 10.0,
    "l": 1000.0,
    "floz": 29.5735295625,
    "cup": 236.5882365,
    "gal": 3785.411784,
}

_NUMBER = r"(\d+(?:\.\d*)?|\.\d+)"
_PER_VOLUME = re.compile(rf"{_NUMBER}%v/v")
_ACTIVE = re.compile(rf"{_NUMBER}%active")
_PPM = re.compile(rf"{_NUMBER}ppm")
_ONE_IN = re.compile(rf"1in{_NUMBER}")
_PARTS = re.compile(rf"{_NUMBER}\+{_NUMBER}")
_PERCENT = re.compile(rf"{_NUMBER}%?")
_VOLUME = re.compile(rf"{_NUMBER}([a-z]+)?")

_HOW = "write 5%v/v, 1in20, 5+95, 3000ppm or 0.3%active"


@dataclass(frozen=True)
class Strength:
    """How strong a bath is wanted: one of the two is given.

    Attributes
    ----------
    share : float or None
        Volume of product over the whole volume, above 0, at most 1.
    ppm : float or None
        Sodium hypochlorite in the bath, mg/L.
    """

    share: float | None = None
    ppm: float | None = None

    def share_of(self, label_percent: float) -> float:
        """Return the volume of product over the whole volume.

        Parameters
        ----------
        label_percent : float
            Sodium hypochlorite in the product, percent, as its label says.

        Raises
        ------
        BathError
            If the bath is wanted stronger than the product is.
        """
        if self.share is not None:
            return self.share
        wanted = self.ppm or 0.0
        there = label_percent * PPM_PER_PERCENT
        if wanted > there:
            raise BathError(
                f"{wanted:g} ppm from a product of {label_percent:g} %",
                f"the product itself has only {there:g} ppm",
                "want less, or check the label",
            )
        return wanted / there


def parse_strength(text: str) -> Strength:
    """Read a wanted strength, and refuse what could mean two things.

    Parameters
    ----------
    text : str
        ``5%v/v`` (of product, by volume), ``1in20`` (one part in 20 in all),
        ``5+95`` (parts of product + parts of water), ``3000ppm`` or
        ``0.3%active`` (of sodium hypochlorite). Spaces and case do not count.

    Raises
    ------
    BathError
        For ``5%`` and ``1:20``, which people read in two ways, and for anything else.

    Examples
    --------
    >>> parse_strength("5 % v/v").share, parse_strength("1 in 20").share
    (0.05, 0.05)
    >>> parse_strength("5+95").share, parse_strength("0.3%active").ppm
    (0.05, 3000.0)
    """
    written = "".join(text.lower().split())
    if found := _PER_VOLUME.fullmatch(written):
        return _share(float(found[1]) / 100, text)
    if found := _ONE_IN.fullmatch(written):
        return _share(1 / float(found[1]) if float(found[1]) else math.inf, text)
    if found := _PARTS.fullmatch(written):
        product, water = float(found[1]), float(found[2])
        return _share(product / (product + water) if product + water else 0.0, text)
    if found := _PPM.fullmatch(written):
        return _ppm(float(found[1]), text)
    if found := _ACTIVE.fullmatch(written):
        return _ppm(float(found[1]) * PPM_PER_PERCENT, text)
    raise BathError(f"strength {text!r}", *_why_not(written))


def parse_label(text: str) -> float:
    """Read the strength on a product's label, percent sodium hypochlorite.

    Examples
    --------
    >>> parse_label("6"), parse_label("5.25 %"), parse_label("50000ppm")
    (6.0, 5.25, 5.0)
    """
    written = "".join(text.lower().split())
    if found := _PPM.fullmatch(written):
        percent = float(found[1]) / PPM_PER_PERCENT
    elif found := _PERCENT.fullmatch(written):
        percent = float(found[1])
    else:
        raise BathError(f"label {text!r}", "it is no strength", "write 6, 6% or 60000ppm")
    return checked_label(percent)


def checked_label(percent: float) -> float:
    """Return a label's strength, percent, if a product can have it."""
    if not 0 < percent <= 100:
        raise BathError(
            f"label {percent:g} %",
            "a product has more than 0 and at most 100 %",
            "read the label: household bleach has about 3 to 9 % sodium hypochlorite",
        )
    return percent


def parse_volume(text: str) -> float:
    """Read a volume, in mL where no unit is written.

    Examples
    --------
    >>> parse_volume("100"), parse_volume("1.5 l"), round(parse_volume("1 gal"))
    (100.0, 1500.0, 3785)
    """
    written = "".join(text.lower().split())
    found = _VOLUME.fullmatch(written)
    unit = (found[2] or "ml") if found else ""
    if found is None or unit not in ML_PER:
        raise BathError(
            f"volume {text!r}", "it is no volume", f"write 100ml; known units: {', '.join(ML_PER)}"
        )
    return checked_volume(float(found[1]) * ML_PER[unit])


def checked_volume(volume_ml: float) -> float:
    """Return a volume, mL, if it is one."""
    if not (math.isfinite(volume_ml) and volume_ml > 0):
        raise BathError(f"volume {volume_ml:g} mL", "a volume is above 0", "write 100ml")
    return volume_ml


def _why_not(written: str) -> tuple[str, str]:
    if found := re.fullmatch(rf"{_NUMBER}%", written):
        return (
            "it can mean percent of product by volume, or percent sodium hypochlorite",
            f"write {found[1]}%v/v (what rearers mostly mean) or {found[1]}%active",
        )
    if found := re.fullmatch(rf"{_NUMBER}[:/]{_NUMBER}", written):
        one, other = found[1], found[2]
        return (
            f"people read it as {one} part in {other} in all and as {one} part to {other} of water",
            f"write {one}in{other} or {one}+{other}",
        )
    return "it is no strength", _HOW


def _share(share: float, text: str) -> Strength:
    if not 0 < share <= 1:
        raise BathError(
            f"strength {text!r}", "the product is more than 0 and at most 100 % of the bath", _HOW
        )
    return Strength(share=share)


def _ppm(ppm: float, text: str) -> Strength:
    if not ppm > 0:
        raise BathError(f"strength {text!r}", "a strength is above 0", _HOW)
    return Strength(ppm=ppm)
