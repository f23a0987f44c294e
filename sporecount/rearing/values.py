"""Values as the log keeps them: checked once, at its edge."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime
from typing import Any

from sporecount.rearing.columns import Kind
from sporecount.rearing.errors import LogError

#: What the database holds in one cell.
Value = str | int | float | None

#: Counts beyond this are not exact as numbers with a fraction, and no count of animals or spores.
_MOST = 2**53


def utc_now() -> datetime:
    """Return the present moment, with its zone."""
    return datetime.now(UTC)


def moment_text(moment: datetime) -> str:
    """Return a moment as ISO 8601 in UTC, to the microsecond, so that texts sort as times do.

    Examples
    --------
    >>> moment_text(datetime(2026, 7, 1, 12, tzinfo=UTC))
    '2026-07-01T12:00:00.000000+00:00'
    """
    return moment.astimezone(UTC).isoformat(timespec="microseconds")


def checked(value: Any, kind: Kind, given: str) -> Value:
    """Return a value as the log keeps it; nothing, nan and empty text become None.

    Parameters
    ----------
    value : any
        A plain, numpy or pandas value.
    kind : str
        One of the kinds of :mod:`sporecount.rearing.columns`.
    given : str
        What it is, for the message.

    Raises
    ------
    LogError
        If it is of the wrong kind.

    Examples
    --------
    >>> checked(" A ", "line", "name"), checked("no", "yes_no", "washed"), checked("", "text", "x")
    ('A', 0, None)
    """
    if _is_nothing(value):
        return None
    given = f"{given} {value!r}"
    return _CHECKS[kind](value, given)


def _is_nothing(value: Any) -> bool:
    # nan and the missing values of pandas differ from themselves or refuse to be compared.
    if value is None or type(value).__name__ in ("NAType", "NaTType"):
        return True
    return isinstance(value, float) and math.isnan(value)


def _text(value: Any, given: str) -> str | None:
    text = str(value)
    try:
        text.encode("utf-8")
    except UnicodeEncodeError as error:
        # Names of files need not be proper text; the log's are.
        raise LogError(given, "it is not proper text", "leave out its odd characters") from error
    if "\0" in text:
        raise LogError(given, "it holds a character that no text has", "leave it out")
    return text or None


def _line(value: Any, given: str) -> str | None:
    text = " ".join(str(value).split())
    return _text(text, given)


def _date(value: Any, given: str) -> str | None:
    if isinstance(value, datetime):
        return value.date().isoformat()
    if isinstance(value, date):
        return value.isoformat()
    text = str(value).strip()
    if not text:
        return None
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as error:
        raise LogError(given, "it is no date", "write it as 2026-07-31") from error


def _moment(value: Any, given: str) -> str | None:
    if not isinstance(value, datetime):
        text = str(value).strip()
        if not text:
            return None
        try:
            value = datetime.fromisoformat(text)
        except ValueError as error:
            raise LogError(
                given, "it is no date and time", "write it as 2026-07-31T14:05:00+00:00"
            ) from error
    return moment_text(value)


def _count(value: Any, given: str) -> int | None:
    number = _number(value, given)
    if number is None:
        return None
    if not (number.is_integer() and 0 <= number < _MOST):
        raise LogError(given, "it is no whole number from 0 up", "write a number such as 12")
    return int(number)


def _number(value: Any, given: str) -> float | None:
    if isinstance(value, str) and not value.strip():
        return None
    try:
        number = float(value)
    except (TypeError, ValueError) as error:
        raise LogError(given, "it is no number", "write a number such as 0.65") from error
    if math.isnan(number):
        return None
    if math.isinf(number):
        raise LogError(given, "it is not finite", "leave it out where it is not known")
    return number


def _yes_no(value: Any, given: str) -> int | None:
    if isinstance(value, str):
        word = value.strip().lower()
        if not word:
            return None
        if word in ("yes", "no"):
            return int(word == "yes")
    elif value in (True, False):
        return int(bool(value))
    raise LogError(given, "it is neither yes nor no", "write yes or no, or nothing if unknown")


_CHECKS: dict[Kind, Any] = {
    "text": _text,
    "line": _line,
    "date": _date,
    "moment": _moment,
    "count": _count,
    "number": _number,
    "yes_no": _yes_no,
}
