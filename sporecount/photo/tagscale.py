"""The scale that a TIFF or OME-TIFF carries in its own tags."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

from sporecount.literature import UM_PER_CM, UM_PER_INCH
from sporecount.photo.photo import TagScale

#: Scales a microscope photo can have, um per pixel (common practice, no source).
#: Outside lie the printing values: 300 dots per inch would be 85 um per pixel.
PLAUSIBLE_UM_PER_PX = (0.02, 20.0)

#: x and y scales that differ by more than this are worth a note.
NOTED_ASPECT = 0.01
#: Beyond this the pixels are not square enough to measure lengths on.
REFUSED_ASPECT = 0.10

#: Micrometres per unit, for the units of length a tag may name.
UM_PER_UNIT: dict[str, float] = {
    "pm": 1e-6,
    "Å": 1e-4,
    "nm": 1e-3,
    "um": 1.0,
    "micron": 1.0,
    "microns": 1.0,
    "micrometer": 1.0,
    "micrometre": 1.0,
    "mm": 1e3,
    "cm": UM_PER_CM,
    "dm": 1e5,
    "m": 1e6,
    "thou": UM_PER_INCH / 1000,
    "mil": UM_PER_INCH / 1000,
    "li": UM_PER_INCH / 12,
    "in": UM_PER_INCH,
    "inch": UM_PER_INCH,
    "ft": UM_PER_INCH * 12,
    "yd": UM_PER_INCH * 36,
}

#: What a reader returns: the scale, if it can be trusted, and notes for people.
Found = tuple[TagScale | None, tuple[str, ...]]


def unit_um(unit: str) -> float | None:
    """Return the micrometres in a unit of length, None for an unknown unit.

    Examples
    --------
    >>> unit_um("µm"), unit_um("nm"), unit_um("pixel")
    (1.0, 0.001, None)
    """
    plain = unit.strip().replace("\\u00B5", "u").replace("\u00b5", "u").replace("\u03bc", "u")
    return UM_PER_UNIT.get(plain, UM_PER_UNIT.get(plain.casefold()))


def scale_from_ome(xml: str, *, swapped: bool = False) -> Found:
    """Read ``PhysicalSizeX`` and ``PhysicalSizeY`` of the first image in OME-XML.

    Parameters
    ----------
    xml : str
        The OME-XML text.
    swapped : bool
        The picture is turned by a quarter: x and y change places.

    Returns
    -------
    tag_scale : TagScale or None
        None where the text says nothing or nothing that can be a scale.
    notes : tuple of str
        Why a size that is there was not used.

    Notes
    -----
    A missing unit means um; "pixel" and "reference frame" are legal units in
    OME-XML that say nothing about micrometres.
    """
    try:
        root = ElementTree.fromstring(xml.strip("\x00 \r\n\t"))
    except ElementTree.ParseError:
        return None, ("the OME-XML in the file cannot be parsed, so its scale was not used",)
    pixels = next((e for e in root.iter() if e.tag.rpartition("}")[2] == "Pixels"), None)
    if pixels is None:
        return None, ()
    sizes: dict[str, float] = {}
    for axis in "XY":
        text = pixels.get(f"PhysicalSize{axis}")
        if text is None:
            continue
        unit = pixels.get(f"PhysicalSize{axis}Unit", "um")
        um = unit_um(unit)
        if um is None:
            return None, (f'physical size in "{unit}" is not a length, so it is not a scale',)
        try:
            sizes[axis] = float(text) * um
        except ValueError:
            return None, (f"physical size {text!r} is not a number",)
    x = sizes.get("X", sizes.get("Y"))
    if x is None:
        return None, ()
    return _checked(x, sizes.get("Y", x), swapped, "OME-TIFF physical size")


def scale_from_resolution(
    x_resolution: tuple[int, int] | float | None,
    y_resolution: tuple[int, int] | float | None,
    unit: int | None,
    *,
    description: str = "",
    swapped: bool = False,
) -> Found:
    """Read the TIFF tags XResolution, YResolution and ResolutionUnit.

    Parameters
    ----------
    x_resolution, y_resolution : (numerator, denominator), float or None
        Pixels per unit, tags 282 and 283.
    unit : int or None
        Tag 296: 1 none, 2 inch, 3 centimetre; missing means 2.
    description : str
        Tag 270. Under unit 1, some microscope programs name the unit in a line
        ``unit=micron`` there.
    swapped : bool
        The picture is turned by a quarter: x and y change places.

    Returns
    -------
    tag_scale : TagScale or None
        ``10000 / resolution`` (cm) or ``25400 / resolution`` (inch) um per pixel.
    notes : tuple of str
        Why tags that are there were not used.

    References
    ----------
    TIFF Revision 6.0, pages 18-19 [tiff6].

    Examples
    --------
    >>> scale_from_resolution((20000, 1), (20000, 1), 3)[0].um_per_px
    0.5
    """
    x, y = _per_unit(x_resolution), _per_unit(y_resolution)
    x, y = x or y, y or x
    if x is None or y is None:
        return None, ()
    source = "TIFF resolution tags"
    if unit == 1:
        named = re.search(r"^unit=(.+)$", description, re.MULTILINE)
        um = unit_um(named[1]) if named else None
        if um is None:
            return None, ("TIFF resolution has no unit, so it is not a scale",)
        source = "TIFF resolution tags, unit from the description"
    elif unit in (None, 2, 3):
        um = UM_PER_CM if unit == 3 else UM_PER_INCH
    else:
        return None, (f"TIFF resolution has the unknown unit {unit}, so it is not a scale",)
    return _checked(um / x, um / y, swapped, source)


def _per_unit(value: tuple[int, int] | float | None) -> float | None:
    """Return a resolution as a positive number, None where it is missing or void."""
    if isinstance(value, tuple):
        value = value[0] / value[1] if len(value) == 2 and value[1] else None
    if value is None or not math.isfinite(value) or value <= 0:
        return None
    return float(value)


def _checked(x: float, y: float, swapped: bool, source: str) -> Found:
    """Turn x and y scales into one TagScale, if they can belong to a microscope photo."""
    if swapped:
        x, y = y, x
    low, high = PLAUSIBLE_UM_PER_PX
    if not (low <= x <= high and low <= y <= high):
        dpi = f" ({UM_PER_INCH / x:.0f} dots per inch, a printing value)" if x > high else ""
        return None, (
            f"{source}: {x:.4g} um/px{dpi} is outside {low:g} to {high:g} um/px, "
            "so it was not used as a scale",
        )
    mean = (x + y) / 2
    differ = f"{source}: x {x:.5g} and y {y:.5g} um/px differ by {abs(x - y) / mean * 100:.1f} %"
    if abs(x - y) > REFUSED_ASPECT * mean:
        return None, (f"{differ}, so they were not used as a scale",)
    notes = (f"{differ}; their mean is used",) if abs(x - y) > NOTED_ASPECT * mean else ()
    return TagScale(um_per_px=mean, source=source), notes
