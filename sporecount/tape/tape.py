"""From the counted photos of one tape to one count: the steps in order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from sporecount.detect.table import SPORE_STATES
from sporecount.settings import TapeSettings
from sporecount.tape.doubt import counted_groups
from sporecount.tape.layout import Layout, lay_out
from sporecount.tape.pairs import Known
from sporecount.tape.union import UNITED_COLUMNS, Region, make_region, unite
from sporecount.tape.view import View

#: Columns of the fields and their types, in order: what each photo adds to the count.
FIELD_COLUMNS: dict[str, str] = {
    "photo": "str",
    "group": "int64",
    "examined_mm2": "float64",
    "spores": "int64",
    "counted": "bool",
}


@dataclass(frozen=True, eq=False)
class Tape:
    """What the photos of one tape say together.

    Attributes
    ----------
    layout : Layout
        Where the photos lie.
    detections : DataFrame
        Each object once, columns `sporecount.tape.union.UNITED_COLUMNS` and
        ``counted``: False in groups that are left out because they may overlap others.
    fields : DataFrame
        One row for each photo that owns some area: ``examined_mm2`` and ``spores`` in
        the part of the tape that is its own, and whether that part is counted.
        Counted parts do not overlap, so they add up.
    spores : int
        Intact and damaged spores in the counted parts.
    examined_mm2 : float
        Area of the counted parts.
    spores_if_apart, examined_if_apart_mm2 : int, float
        The same if no photo in doubt overlapped another: the most that was seen.
    regions : tuple of Region
        The area of each group, for drawing.
    notes : tuple of str
        What a person should know, the rule for photos in doubt included.
    """

    layout: Layout
    detections: pd.DataFrame
    fields: pd.DataFrame
    spores: int
    examined_mm2: float
    spores_if_apart: int
    examined_if_apart_mm2: float
    regions: tuple[Region, ...]
    notes: tuple[str, ...]


def assemble(
    views: Sequence[View],
    settings: TapeSettings | None = None,
    progress: Callable[[int, int], None] | None = None,
    known: Known | None = None,
) -> Tape:
    """Lay out the photos of one tape and count each spore and square millimetre once.

    Parameters
    ----------
    views : sequence of View
        Every photo of the tape, from `sporecount.tape.view.make_view`.
    settings : TapeSettings, optional
        What is certain.
    progress : callable, optional
        Called with the number of pairs done and of all pairs.
    known : dict, optional
        Registrations of earlier calls, see `sporecount.tape.layout.lay_out`.

    Returns
    -------
    Tape
        Without a usable photo, the area is 0: nothing was seen, which is no zero.
    """
    settings = settings or TapeSettings()
    layout = lay_out(views, settings, progress, known)
    places = layout.placements
    used = ((places["group"] >= 0) & (places["repeats_of"] == "")).to_numpy(bool)
    regions, tables, elsewhere = [], [], 0
    for group in range(int(places["group"].max()) + 1 if len(places) else 0):
        members = np.flatnonzero(used & (places["group"] == group).to_numpy(bool)).tolist()
        region = make_region(views, layout.poses, members, group)
        table, lost = unite(views, layout.poses, members, region, settings)
        regions.append(region)
        tables.append(table)
        elsewhere += lost
    fields = _fields(views, places, used, regions, tables)
    area = fields.groupby("group")["examined_mm2"].sum().to_numpy(float)
    spores = fields.groupby("group")["spores"].sum().to_numpy(np.int64)
    counted = counted_groups(layout.doubts, area, spores)
    fields["counted"] = counted[fields["group"].to_numpy(int)]
    detections = _joined(tables)
    detections["counted"] = counted[detections["group"].to_numpy(int)]
    return Tape(
        layout=layout,
        detections=detections,
        fields=fields.astype(FIELD_COLUMNS),
        spores=int(spores[counted].sum()),
        examined_mm2=float(area[counted].sum()),
        spores_if_apart=int(spores.sum()),
        examined_if_apart_mm2=float(area.sum()),
        regions=tuple(regions),
        notes=_notes(views, layout, fields, elsewhere),
    )


def empty_united() -> pd.DataFrame:
    """Return a table of united detections without rows.

    Examples
    --------
    >>> list(empty_united().columns)[:4]
    ['photo', 'group', 'x_um', 'y_um']
    """
    return pd.DataFrame({name: pd.Series([], dtype=kind) for name, kind in UNITED_COLUMNS.items()})


def _joined(tables: list[pd.DataFrame]) -> pd.DataFrame:
    filled = [table for table in tables if len(table)]
    return pd.concat(filled, ignore_index=True) if filled else empty_united()


def _fields(
    views: Sequence[View],
    places: pd.DataFrame,
    used: NDArray[np.bool_],
    regions: list[Region],
    tables: list[pd.DataFrame],
) -> pd.DataFrame:
    """Return what each photo owns: its area and its spores."""
    rows = []
    for region, table in zip(regions, tables, strict=True):
        areas = region.areas_mm2(len(views))
        owners = region.owner_at(table[["x_um", "y_um"]].to_numpy(float))
        whole = table["state"].isin(SPORE_STATES).to_numpy(bool)
        spores = np.bincount(owners[whole], minlength=len(views))
        rows += [
            (views[n].photo, region.group, areas[n], spores[n], True)
            for n in np.flatnonzero(
                used & (places["group"] == region.group).to_numpy(bool)
            ).tolist()
        ]
    return pd.DataFrame(rows, columns=list(FIELD_COLUMNS)).astype(FIELD_COLUMNS)


def _notes(
    views: Sequence[View], layout: Layout, fields: pd.DataFrame, elsewhere: int
) -> tuple[str, ...]:
    """Say in words what was left out and why."""
    places, notes = layout.placements, []
    repeats = int((places["repeats_of"] != "").sum())
    if repeats:
        notes.append(f"{_photos(repeats)} repeat{'s' * (repeats == 1)} another and counted once")
    refused = sum(not view.usable for view in views)
    if refused:
        notes.append(f"{_photos(refused)} refused and not used")
    doubtful = int(layout.doubts.any(axis=1).sum())
    if doubtful:
        left = fields[~fields["counted"]]
        notes.append(
            f"{doubtful} parts of the layout may overlap, with too little on them to tell: "
            f"{_photos(len(left))} left out ({left['examined_mm2'].sum():.3g} mm2, "
            f"{int(left['spores'].sum())} spores), so that nothing is counted twice"
        )
    if layout.hidden_share > 0:
        notes.append(
            "photos taken to lie apart match nowhere; an overlap of more than "
            f"{100 * layout.hidden_share:.0f} % of one would have been recognised"
        )
    if elsewhere:
        notes.append(
            f"{elsewhere} find{'s' * (elsewhere > 1)} left out that the photo which decides for "
            "the place does not show"
        )
    return (*notes, *layout.notes)


def _photos(number: int) -> str:
    return f"{number} photo{'s' * (number != 1)}"
