"""The dilution: how much product and how much water, stated so that nobody mixes it up."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sporecount.bath.errors import BathError
from sporecount.bath.strength import PPM_PER_PERCENT, Strength, checked_label, checked_volume


@dataclass(frozen=True)
class Dilution:
    """A bath of product and water.

    Attributes
    ----------
    label_percent : float
        Sodium hypochlorite in the product, percent, as its label says.
    product_ml, water_ml : float
        What goes into the bath, mL.
    """

    label_percent: float
    product_ml: float
    water_ml: float

    def __post_init__(self) -> None:
        checked_label(self.label_percent)
        checked_volume(self.product_ml)
        if not (math.isfinite(self.water_ml) and self.water_ml >= 0):
            raise BathError(f"water {self.water_ml:g} mL", "it is 0 or more", "give mL of water")

    @property
    def volume_ml(self) -> float:
        """The whole bath, mL."""
        return self.product_ml + self.water_ml

    @property
    def percent_by_volume(self) -> float:
        """Product in the bath, percent by volume."""
        return 100 * self.product_ml / self.volume_ml

    @property
    def active_percent(self) -> float:
        """Sodium hypochlorite in the bath, percent."""
        return self.label_percent * self.product_ml / self.volume_ml

    @property
    def ppm(self) -> float:
        """Sodium hypochlorite in the bath, mg/L."""
        return self.active_percent * PPM_PER_PERCENT

    @property
    def water_parts(self) -> float:
        """Parts of water to one part of product."""
        return self.water_ml / self.product_ml

    @property
    def one_in(self) -> float:
        """One part of product in this many parts in all."""
        return self.volume_ml / self.product_ml

    def in_words(self) -> str:
        """Return the dilution as parts + parts and as 1 in N, which are often confused.

        Examples
        --------
        >>> Dilution(6.0, 5.0, 95.0).in_words()
        '1 part of product + 19 parts of water, that is 1 in 20'
        """
        return (
            f"1 part of product + {round_to(self.water_parts)} parts of water, "
            f"that is 1 in {round_to(self.one_in)}"
        )


def dilute(label_percent: float, want: Strength, volume_ml: float) -> Dilution:
    """Work out a bath by C1 V1 = C2 V2.

    Parameters
    ----------
    label_percent : float
        Sodium hypochlorite in the product, percent, as its label says.
    want : Strength
        Wanted strength.
    volume_ml : float
        Wanted volume of the whole bath, mL.

    Returns
    -------
    Dilution

    Raises
    ------
    BathError
        If the product is too weak, or a number is none.

    Examples
    --------
    >>> from sporecount.bath.strength import parse_strength
    >>> dilute(6.0, parse_strength("5%v/v"), 100.0)
    Dilution(label_percent=6.0, product_ml=5.0, water_ml=95.0)
    """
    share = want.share_of(checked_label(label_percent))
    product_ml = share * checked_volume(volume_ml)
    return Dilution(label_percent, product_ml, max(0.0, volume_ml - product_ml))


def round_to(number: float, digits: int = 3) -> str:
    """Return a number to some significant digits, without an exponent.

    Examples
    --------
    >>> [round_to(n) for n in (47.619, 19.0, 52500.0, 0.00525)]
    ['47.6', '19', '52500', '0.00525']
    """
    if number == 0:
        return "0"
    places = max(0, digits - 1 - math.floor(math.log10(abs(number))))
    text = f"{number:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
