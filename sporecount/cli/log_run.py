"""What the commands of the rearing log do."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from sporecount.cli.edge import one_line
from sporecount.cli.exit_codes import DONE, NOT_ALL_COUNTED
from sporecount.rearing.log import RearingLog
from sporecount.rearing.place import log_path


def run_add(word: str, options: dict[str, Any]) -> int:
    """Add a brood or an adult."""
    fields = _given(options)
    with _open(options, create=True) as log:
        row_id = log.add_brood(**fields) if word == "brood" else log.add_adult(**fields)
        click.echo(one_line(f"Added {word} {fields.get('name') or fields.get('identity')}."))
        click.echo(one_line(f"Its id: {row_id}. Log: {log.path}"))
    return DONE


def run_change(word: str, options: dict[str, Any]) -> int:
    """Change a brood, an adult or a sample."""
    fields = _given(options)
    called = fields.pop("called")
    if not set(fields) - {"who"}:
        raise click.UsageError("say what to change.")
    with _open(options) as log:
        changes: dict[str, Callable[..., int]] = {
            "brood": log.change_brood,
            "adult": log.change_adult,
            "sample": log.change_sample,
        }
        changed = changes[word](called, **fields)
    click.echo(one_line(f"Changed {changed} field{'' if changed == 1 else 's'} of {called}."))
    return DONE


def run_decide(sample: str, words: str, who: str, log_file: Path | None) -> int:
    """Keep a decision."""
    with _open({"log_file": log_file}) as log:
        log.decide(sample, words, who)
    click.echo(one_line(f"Kept: {sample}: {words} ({who})."))
    return DONE


def run_show(log_file: Path | None) -> int:
    """Show the log."""
    from sporecount.cli.log_words import print_log

    with _open({"log_file": log_file}) as log:
        print_log(_console(), log.rows())
        click.echo(one_line(f"Log: {log.path}"))
    return DONE


def run_tell(heavy_from: int, level: float, log_file: Path | None) -> int:
    """Tell what the log tells."""
    from sporecount.cli.log_words import print_telling
    from sporecount.rearing.telling import tell

    with _open({"log_file": log_file}) as log:
        print_telling(_console(), tell(log.rows(), heavy_from=heavy_from, level=level))
    return DONE


def run_report(file: Path, title: str, heavy_from: int, log_file: Path | None) -> int:
    """Write the season's report."""
    from sporecount.report.html.season import write_season_report

    with _open({"log_file": log_file}) as log:
        write_season_report(log, file, title=title, heavy_from=heavy_from)
    click.echo(one_line(f"Report: {file}"))
    return DONE


def run_export(folder: Path, replace: bool, log_file: Path | None) -> int:
    """Write the tables."""
    with _open({"log_file": log_file}) as log:
        paths = log.export_csv(folder, replace=replace)
    click.echo(one_line(f"Wrote {', '.join(path.name for path in paths)} into {folder}"))
    return DONE


def run_import(folder: Path, take: str | None, who: str | None, log_file: Path | None) -> int:
    """Bring tables in, and say what came of it."""
    from sporecount.cli.log_words import report_lines

    with _open({"log_file": log_file}, create=True) as log:
        report = log.import_csv(folder, take=take, who=who)
    for line in report_lines(report):
        click.echo(one_line(line))
    return NOT_ALL_COUNTED if report.open_conflicts else DONE


def _open(options: dict[str, Any], *, create: bool = False) -> RearingLog:
    return RearingLog.open(log_path(options.get("log_file")), create=create)


def _given(options: dict[str, Any]) -> dict[str, Any]:
    """Return what was given, without the file of the log."""
    return {
        name: value for name, value in options.items() if value is not None and name != "log_file"
    }


def _console() -> Any:
    from rich.console import Console

    console = Console(highlight=False)
    return (
        console if console.is_terminal else Console(highlight=False, width=100, color_system=None)
    )
