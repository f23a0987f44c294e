"""What `sporecount bath` does: work out, warn, time, record."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import click

from sporecount.bath.cautions import CAUTIONS, NO_RECIPE
from sporecount.bath.dilution import Dilution, dilute, round_to
from sporecount.bath.practice import PRACTICES, warnings_for
from sporecount.bath.strength import Strength
from sporecount.bath.timer import Clock, Contact, run_contact
from sporecount.cli.edge import one_line
from sporecount.cli.exit_codes import DONE, STOPPED
from sporecount.rearing.log import RearingLog
from sporecount.rearing.place import log_path

#: Asks a person to press Enter, and waits for it.
Ask = Callable[[str], None]

#: Seconds between the lines where there is no terminal to show a bar on.
_LINE_EVERY_S = 10


@dataclass(frozen=True)
class BathOptions:
    """Options of `sporecount bath`, as given."""

    label: float
    want: Strength | None = None
    volume: float = 100.0
    product: float | None = None
    water: float | None = None
    seconds: float | None = None
    no_timer: bool = False
    took: float | None = None
    rinsed: str | None = None
    brood: str | None = None
    log_file: Path | None = None


def run_bath(options: BathOptions, clock: Clock | None = None, ask: Ask | None = None) -> int:
    """Work out, time and record a bath; return the exit code.

    Parameters
    ----------
    options : BathOptions
        As given.
    clock : Clock, optional
        The computer's by default.
    ask : callable, optional
        Waits for a person; by default the terminal, if there is one.
    """
    _check(options)
    made = _made(options)
    if options.brood is not None:
        _check_brood(options)  # before the eggs are in the bath, not after
    _print_bath(made, options.took or options.seconds)
    if options.no_timer or options.seconds is None:
        if options.took is not None and options.brood is not None:
            _record(options, made, None, options.rinsed)
        return DONE
    contact, rinsed = _time(options.seconds, options.rinsed, clock, ask or _answer())
    if contact.stopped:
        click.echo(
            f"Stopped after {contact.real_s:.0f} s of {contact.planned_s:g} s. RINSE NOW: the "
            "bath works on until it is rinsed off."
        )
    else:
        click.echo(f"Contact: {contact.real_s:.0f} s, planned {contact.planned_s:g} s.")
    if options.brood is not None:
        _record(options, made, contact, rinsed)
    return STOPPED if contact.stopped else DONE


def _check(options: BathOptions) -> None:
    by_parts = options.product is not None or options.water is not None
    if by_parts == (options.want is not None):
        raise click.UsageError("give either --want, or --product and --water.")
    if by_parts and (options.product is None or options.water is None):
        raise click.UsageError("--product and --water are given together.")
    if options.took is not None and not options.no_timer:
        raise click.UsageError("--took goes with --no-timer.")
    if not options.no_timer and options.seconds is None:
        raise click.UsageError("give --seconds for the timer, or --no-timer.")
    if options.no_timer and options.brood is not None and options.took is None:
        raise click.UsageError("--brood with --no-timer needs --took, the seconds it took.")


def _made(options: BathOptions) -> Dilution:
    if options.want is not None:
        return dilute(options.label, options.want, options.volume)
    return Dilution(options.label, options.product or 0.0, options.water or 0.0)


def _print_bath(made: Dilution, seconds: float | None) -> None:
    click.echo(
        f"Bath of {round_to(made.volume_ml)} mL: {round_to(made.product_ml)} mL of product "
        f"({made.label_percent:g} %) + {round_to(made.water_ml)} mL of water."
    )
    click.echo(f"  {made.in_words()}.")
    click.echo(
        f"  {round_to(made.percent_by_volume)} % of product by volume; "
        f"{round_to(made.active_percent)} % sodium hypochlorite, {round_to(made.ppm)} ppm."
    )
    click.echo("\nWhat is done elsewhere:")
    for one in PRACTICES:
        bath = (
            "eggs are not bathed"
            if one.percent_by_volume is None
            else f"{one.percent_by_volume:g} % by volume for {one.seconds:g} s; {one.rinse}"
        )
        click.echo(f"  {one.name}: {bath} ({one.standing})")
    click.echo(NO_RECIPE)
    for warning in warnings_for(made, seconds):
        click.secho(f"\nWARNING: {warning}", fg="red", bold=True)
    click.echo("\nCautions:")
    for caution in CAUTIONS:
        click.echo(f"  - {caution}")
    click.echo()


def _time(
    seconds: float, rinsed: str | None, clock: Clock | None, ask: Ask | None
) -> tuple[Contact, str | None]:
    """Run the timer; where somebody can answer, wait for the eggs, and then for the rinse."""
    said = rinsed
    show, end = _countdown(seconds)  # all is ready before the eggs go in

    def call_to_rinse() -> None:
        nonlocal said
        end()
        click.echo("\aRINSE NOW")
        if ask is not None:
            ask("Press Enter when the eggs are rinsed. ")
            said = said or "yes"

    if ask is not None:
        ask("Press Enter when the eggs go in. ")
    try:
        contact = run_contact(seconds, show, at_end=call_to_rinse, clock=clock)
    finally:
        end()
    return contact, said


def _countdown(seconds: float) -> tuple[Callable[[float], None], Callable[[], None]]:
    """Return what shows the seconds left, and what ends the show."""
    if not sys.stdout.isatty():
        return _lines(seconds), lambda: None
    from rich.progress import BarColumn, Progress, TextColumn

    bar = Progress(TextColumn("rinse in {task.fields[left]}"), BarColumn())
    task = bar.add_task("contact", total=seconds, left="")

    def show(left: float) -> None:
        bar.start()
        bar.update(task, completed=seconds - left, left=f"{math.ceil(left):>4} s")

    return show, bar.stop


def _lines(seconds: float) -> Callable[[float], None]:
    """Return what prints a line at the start and every ten seconds."""
    next_at = math.ceil(seconds)

    def show(left: float) -> None:
        nonlocal next_at
        if 0 < left <= next_at:
            click.echo(f"rinse in {math.ceil(left)} s")
            next_at = (math.ceil(left) - 1) // _LINE_EVERY_S * _LINE_EVERY_S

    return show


def _answer() -> Ask | None:
    """Return how to wait for a person; None where nobody is there to answer."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        return None

    def ask(words: str) -> None:
        with suppress(EOFError):
            input(words)

    return ask


def _check_brood(options: BathOptions) -> None:
    with _open(options) as log:
        log.find("broods", str(options.brood))


def _record(
    options: BathOptions, made: Dilution, contact: Contact | None, rinsed: str | None
) -> None:
    real_s = contact.real_s if contact else options.took
    with _open(options) as log:
        log.add_bath(
            options.brood,
            bathed_at=datetime.now(UTC) if contact else None,
            label_percent=made.label_percent,
            percent_by_volume=made.percent_by_volume,
            product_ml=made.product_ml,
            water_ml=made.water_ml,
            planned_s=options.seconds,
            real_s=None if real_s is None else round(real_s, 1),
            rinsed=rinsed,
            notes="broken off by hand" if contact and contact.stopped else None,
        )
        click.echo(one_line(f"Recorded for brood {options.brood} in {log.path}"))


def _open(options: BathOptions) -> RearingLog:
    return RearingLog.open(log_path(options.log_file), create=False)
