"""The log's rows as tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from sporecount.rearing.columns import TABLES, Kind
from sporecount.rearing.values import Value

#: Kind of a column to its dtype; each has a value for "not known".
_DTYPES: dict[Kind, str] = {"count": "Int64", "number": "Float64", "yes_no": "boolean"}


def as_frames(rows: Mapping[str, Sequence[Mapping[str, Value]]]) -> dict[str, pd.DataFrame]:
    """Return one table for each table of the log.

    Parameters
    ----------
    rows : mapping
        As :meth:`sporecount.rearing.log.RearingLog.rows` returns them.

    Returns
    -------
    dict of str to DataFrame
        All columns, also where there are no rows. Texts, dates and moments are text.
    """
    return {
        name: pd.DataFrame(
            {
                column: pd.Series(
                    [_plain(row[column], kind) for row in rows[name]],
                    dtype=_DTYPES.get(kind, "object"),
                )
                for column, kind in table.columns.items()
            }
        )
        for name, table in TABLES.items()
    }


def _plain(value: Value, kind: Kind) -> Value:
    return bool(value) if kind == "yes_no" and value is not None else value
