"""The table of followed fields: a row for each, whether it could be followed or not."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from sporecount.detect.table import INTACT
from sporecount.settings import FollowSettings, TapeSettings
from sporecount.tape.view import View
from sporecount.trial.errors import TrialError
from sporecount.trial.followed.match import FATES, NEW, SPORE_COLUMNS, UNMATCHED, follow
from sporecount.trial.followed.pairs import FieldPhotos
from sporecount.trial.followed.register import lay_field

#: What can become of a field.
FOLLOWED, LEFT_OUT = "followed", "left out"

#: Columns of ``followed.csv``: what each field is; what became of the spores called intact
#: before; those not matched, and why; spores damaged before; new ones after; how the photos lie.
FIELD_COLUMNS = (
    "arm",
    "slide",
    "code",
    "field",
    "before",
    "after",
    "status",
    *FATES,
    "unmatched",
    *UNMATCHED,
    "damaged_before",
    "new",
    "common",
    "marks_seen",
    "marks_agreeing",
    "shift_um",
    "turn_deg",
    "notes",
)

#: Columns of counts, with what they are called where a person followed the spores.
COUNTS = (*FATES, "unmatched", *UNMATCHED, "damaged_before", "new")


def blank_row(field: FieldPhotos, notes: str) -> dict[str, Any]:
    """Return the row of a field that is left out, and why: its counts are None, not zero."""
    row: dict[str, Any] = dict.fromkeys(FIELD_COLUMNS)
    row.update(
        arm=field.arm, slide=field.slide, code=field.code, field=field.field,
        before=field.before.name if field.before else "",
        after=field.after.name if field.after else "",
        status=LEFT_OUT, notes=notes,
    )  # fmt: skip
    return row


def field_row(
    field: FieldPhotos,
    before: View,
    after: View,
    settings: FollowSettings,
    tape: TapeSettings,
    others: tuple[View, ...] = (),
) -> tuple[dict[str, Any], pd.DataFrame]:
    """Follow the spores of a field.

    Parameters
    ----------
    field : FieldPhotos
        What it is.
    before, after : View
        Its photos, counted.
    settings, tape
        When photos fit and spores are the same.
    others : tuple of View
        Photos of other fields, which tell specks on the lens.

    Returns
    -------
    row : dict
        Columns :data:`FIELD_COLUMNS`.
    spores : DataFrame
        Columns :data:`sporecount.trial.followed.match.SPORE_COLUMNS`; no rows where the
        photos could not be laid on each other with certainty.
    """
    laid = lay_field(before, after, settings, tape, others)
    row = blank_row(field, laid.reason)
    row.update(marks_seen=laid.seen, marks_agreeing=laid.agreeing)
    if laid.pose is None:
        return row, empty_spores()
    spores = follow(before, after, laid.pose, settings)
    old = spores[spores["state_before"] == INTACT]["fate"]
    numbers = {name: int((old == name).sum()) for name in (*FATES, *UNMATCHED)}
    middle = np.array([before.size_um]) / 2
    moved = laid.pose.outwards(middle) - middle
    row.update(
        status=FOLLOWED,
        **numbers,
        unmatched=sum(numbers[name] for name in UNMATCHED),
        damaged_before=int((~spores["state_before"].isin([INTACT, ""])).sum()),
        new=int((spores["fate"] == NEW).sum()),
        common=laid.common,
        shift_um=float(np.hypot(*moved[0])),
        turn_deg=laid.pose.angle_deg,
        notes="" if laid.by_litter else "too little litter: laid by spores as well",
    )
    return row, spores


def empty_spores() -> pd.DataFrame:
    """Return a table of followed spores without rows.

    Examples
    --------
    >>> list(empty_spores().columns)[:2]
    ['state_before', 'fate']
    """
    return pd.DataFrame({name: pd.Series([], dtype=kind) for name, kind in SPORE_COLUMNS.items()})


def checked_fields(table: pd.DataFrame, arms: Mapping[str, str]) -> pd.DataFrame:
    """Return a table of followed fields or slides, checked; missing counts that may be are 0.

    Parameters
    ----------
    table : DataFrame
        ``arm``, ``slide``, ``intact``, ``damaged``, ``fragment``, ``gone``; perhaps others of
        :data:`FIELD_COLUMNS`. A row with another ``status`` than "followed" is left out, and
        counts for nothing but the number of such rows.
    arms : mapping of str to str
        The trial's arms by their name in small letters.

    Raises
    ------
    TrialError
        If a column is missing, an arm is unknown, or a count is none.
    """
    missing = [name for name in ("arm", "slide", *FATES) if name not in table]
    if missing:
        raise TrialError(
            f"table of followed spores with the columns {', '.join(map(str, table))}",
            f"there is no {' and no '.join(missing)}",
            f"needed are: arm, slide, {', '.join(FATES)}",
        )
    own = table.reset_index(drop=True).copy()
    own["status"] = own["status"].fillna(FOLLOWED) if "status" in own else FOLLOWED
    for place, arm in enumerate(own["arm"]):
        if str(arm).strip().casefold() not in arms:
            raise TrialError(
                f"table of followed spores, arm {arm!r}",
                "the trial has no such arm",
                f"its arms are: {', '.join(arms.values())}",
            )
        own.loc[place, "arm"] = arms[str(arm).strip().casefold()]
    own["slide"] = own["slide"].astype(str).str.strip()
    is_followed = (own["status"] == FOLLOWED).to_numpy()
    for name in COUNTS:
        values = pd.to_numeric(own[name], errors="coerce") if name in own else 0.0
        values = pd.Series(values, own.index, dtype="float64")
        if name not in FATES:
            values = values.fillna(0.0)
        wrong = is_followed & ~((values >= 0) & (values == values.round())).to_numpy()
        if wrong.any():
            at = int(np.flatnonzero(wrong)[0])
            raise TrialError(
                f"followed spores of slide {own['slide'].iloc[at]!r} of arm "
                f"{own['arm'].iloc[at]!r}, {name} {own[name].iloc[at]}",
                "it is a whole number, 0 or more",
                "write the count, 0 for none; leave out fields that were not followed",
            )
        own[name] = values.where(is_followed, math.nan)
    return own


def by_slide(fields: pd.DataFrame) -> pd.DataFrame:
    """Return the counts of each slide with followed spores, all its fields together."""
    own = fields[fields["status"] == FOLLOWED]
    summed = own.groupby(["arm", "slide"], sort=False)[list(COUNTS)].sum().reset_index()
    return summed[summed[list(FATES)].sum(axis=1) > 0].reset_index(drop=True)
