"""What a watch shows: the running estimate, and whether it is settled."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, Protocol

import click

from sporecount.cli.count_run import plain_console
from sporecount.cli.edge import one_line
from sporecount.cli.sample_parts import SampleResult
from sporecount.counts.summary import COUNTED

#: Waiting photos that are named.
_MOST_WAITING = 5


class Screen(Protocol):
    """Where a watch shows its state."""

    def say(self, text: str) -> None:
        """Say what happened, on a line that stays."""

    def show(self, result: SampleResult | None, waiting: Mapping[str, str]) -> None:
        """Show the state."""


@contextmanager
def screen() -> Iterator[Screen]:
    """Open a live display on a terminal, plain lines anywhere else."""
    console = plain_console()
    if not console.is_terminal:
        yield _Lines()
        return
    from rich.live import Live

    with Live(console=console, refresh_per_second=4) as live:
        yield _Live(live)


class _Lines:
    """Plain lines: one for each change of the result."""

    def __init__(self) -> None:
        self._shown: SampleResult | None = None

    def say(self, text: str) -> None:
        click.echo(text)

    def show(self, result: SampleResult | None, waiting: Mapping[str, str]) -> None:
        if result is None or result is self._shown:
            return
        self._shown = result
        click.echo(one_line(" ".join((seen_line(result.summary), settled_line(result)))))


class _Live:
    """A live display."""

    def __init__(self, live: Any) -> None:
        self._live = live

    def say(self, text: str) -> None:
        from rich.text import Text

        self._live.console.print(Text(text))

    def show(self, result: SampleResult | None, waiting: Mapping[str, str]) -> None:
        from rich.panel import Panel
        from rich.text import Text

        lines = state_lines(result, waiting)
        settled = result is not None and result.is_settled
        title = "sample" if result is None else one_line(result.summary["sample"])
        self._live.update(
            Panel(
                Text("\n".join(lines)),
                title=Text(title),
                border_style="green" if settled else "yellow",
                width=min(80, self._live.console.width),
            )
        )


def state_lines(result: SampleResult | None, waiting: Mapping[str, str]) -> list[str]:
    """Return the state of a watch as lines.

    Examples
    --------
    >>> state_lines(None, {"a.jpg": "may still be being written"})[:2]
    ['No photo yet.', 'Waiting for a.jpg: may still be being written']
    """
    lines = ["No photo yet."]
    if result is not None:
        lines = [seen_line(result.summary)]
        if result.summary["status"] == COUNTED:
            lines += [*chance_lines(result.summary), "", settled_line(result).upper()]
            lines += _why(result)
        elif result.summary["reason"]:
            lines.append(one_line(str(result.summary["reason"])))
    names = list(waiting)[:_MOST_WAITING]
    lines += [one_line(f"Waiting for {name}: {waiting[name]}") for name in names]
    if len(waiting) > len(names):
        lines.append(f"... and for {len(waiting) - len(names)} more")
    return [*lines, "", "Ctrl-C ends the watch; what is done is kept."]


def seen_line(row: Mapping[str, Any]) -> str:
    """Say what was seen so far.

    Examples
    --------
    >>> seen_line({"status": "refused", "photos": 1})
    '1 photo, none of use so far.'
    """
    photos = f"{row['photos']} photo{'' if row['photos'] == 1 else 's'}"
    if row["status"] != COUNTED:
        return f"{photos}, none of use so far."
    if row["photos_used"] != row["photos"]:
        photos = f"{photos} ({row['photos_used']} used)"
    return (
        f"{photos}, {row['examined_mm2']:.3g} of {row['tape_mm2']:.6g} mm2: {row['spores']} "
        f"spore{'' if row['spores'] == 1 else 's'}; on the whole tape about "
        f"{row['tape_spores']:.0f} ({row['tape_low']} to {row['tape_high']})."
    )


def chance_lines(row: Mapping[str, Any]) -> Sequence[str]:
    """Return the chances of the classes as two lines.

    Examples
    --------
    >>> chance_lines({"p_class_0": 0.931, "p_class_1": 0.069})
    ['class      0      1', 'chance  93 %    7 %']
    """
    names = [name for name in row if name.startswith("p_class_") and row[name] is not None]
    loads = "".join(f"{name.removeprefix('p_class_'):>7}" for name in names)
    chances = "".join(f"{100 * row[name]:>5.0f} %" for name in names)
    return [f"class{loads}", f"chance{chances[1:]}"]


def settled_line(result: SampleResult) -> str:
    """Say whether it is settled, and how many more photos it takes."""
    row = result.summary
    if row["status"] != COUNTED:
        return "Not settled."
    if result.is_settled:
        return f"Settled: {row['decision']}."
    more = row["more_fields"]
    if more is None:
        return "Not settled, and more photos of this tape would not settle it."
    return f"Not settled: about {more} more photo{'' if more == 1 else 's'}."


def announce(result: SampleResult, say: Callable[[str], None]) -> None:
    """Say that enough was seen."""
    photos = result.summary["photos"]
    say(
        one_line(
            f"Settled after {photos} photo{'' if photos == 1 else 's'}: "
            f"{result.summary['decision']}. You may stop here."
        )
    )


def _why(result: SampleResult) -> list[str]:
    """Return what the decision says between its outcome and the usual choices."""
    lines = [one_line(line) for line in (result.decision or "").splitlines()[1:]]
    return lines[: lines.index("Usual choices:")] if "Usual choices:" in lines else lines
