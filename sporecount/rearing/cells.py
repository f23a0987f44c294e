"""Cells of the log's CSV files: what is written can be read back exactly.

Spreadsheets run text as a formula that starts with certain characters. Such text
gets an apostrophe in front, as in the other tables; so does text of that kind
that has apostrophes in front already, so that reading can take one away again.
"""

from __future__ import annotations

from sporecount.rearing.columns import Kind
from sporecount.rearing.values import Value


def to_cell(value: Value, kind: Kind) -> str:
    """Return a value as the text of one cell, without the guard.

    Examples
    --------
    >>> to_cell(0.1, "number"), to_cell(1, "yes_no"), to_cell(None, "text")
    ('0.1', 'yes', '')
    """
    if value is None:
        return ""
    if kind == "yes_no":
        return "yes" if value else "no"
    return repr(value) if isinstance(value, float) else str(value)


def guarded(text: str) -> str:
    """Return a cell's text so that no spreadsheet runs it.

    Examples
    --------
    >>> [guarded(text) for text in ("=1+1", "'=1+1", "'tis", "a=b")]
    ["'=1+1", "''=1+1", "'tis", 'a=b']
    """
    return f"'{text}" if _runs(text) else text


def unguarded(text: str) -> str:
    """Return what :func:`guarded` was given.

    Examples
    --------
    >>> [unguarded(guarded(text)) for text in ("=1+1", "'=1+1", "'tis", "a=b")]
    ['=1+1', "'=1+1", "'tis", 'a=b']
    """
    return text[1:] if text.startswith("'") and _runs(text) else text


def _runs(text: str) -> bool:
    from sporecount.report.tables import cell

    bare = text.lstrip("'")
    return cell(bare) != bare
