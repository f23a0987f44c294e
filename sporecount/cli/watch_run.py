"""What `sporecount watch` does: score each photo as it comes, until it is stopped."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import click

from sporecount.cli.arrivals import Arrivals, FolderUnreachableError
from sporecount.cli.batch import Batch
from sporecount.cli.count_run import check_out, scale_request
from sporecount.cli.edge import one_line
from sporecount.cli.exit_codes import DONE, NOT_ALL_COUNTED, NOTHING_DONE
from sporecount.cli.out_folder import begin_run, end_run, held
from sporecount.cli.sample_results import DECISIONS_FILE, TABLES, words
from sporecount.cli.sample_work import SampleWork, layout_names
from sporecount.cli.scales import ScaleRequest
from sporecount.cli.score_run import ScoreOptions
from sporecount.cli.wakes import wakes
from sporecount.cli.watch_screen import Screen, announce, screen
from sporecount.cli.watch_session import WatchSession
from sporecount.counts.summary import COUNTED
from sporecount.settings import Settings

#: Longest time between two looks into the folder, s.
_EVERY_S = 0.5


@dataclass(frozen=True, kw_only=True)
class WatchOptions(ScoreOptions):
    """Options of `sporecount watch`, as given; those of score that it has, too."""

    folder: Path = Path()
    sample: str | None = None
    settle_s: float = 2.0
    poll: bool = False
    finish: bool = False


def run_watch(options: WatchOptions) -> int:
    """Watch a folder; return the exit code."""
    options.check()
    settings = options.settings()
    folder = options.folder
    check_out(options.out, [folder], [], TABLES)
    scales = scale_request(options, {})
    scales.asked("")  # a saved scale that is not there is said now
    with held(options.out):
        return _run(options, settings, scales)


def _run(options: WatchOptions, settings: Settings, scales: ScaleRequest) -> int:
    folder, name = options.folder, options.sample or options.folder.resolve().name
    start = begin_run(options.out, options.as_dict(), settings, 0)
    batch = Batch(
        out=options.out,
        scales=scales,
        settings=settings,
        marked={},
        reviews=options.review_folders(),
        microscopes=options.microscopes(),
    )
    work = SampleWork(batch, {name: options.tape_mm2}, layout_names([name]), keep_views=True)
    with screen() as shown:
        session = WatchSession(
            name,
            Arrivals(folder, options.settle_s),
            work,
            log_file=options.log_file,
            marked=not options.no_marked,
            say=shown.say,
            show=_shower(shown),
        )
        try:
            _watch(session, options, shown)
        except KeyboardInterrupt:
            shown.say("Stopped. The same command goes on from here.")
        result = session.finish()
    if result is None:
        click.echo(one_line(f"No photo came into {folder}."), err=True)
        return NOTHING_DONE
    end_run(options.out, replace(start, photos=len(result.photos)), result.photos)
    click.echo(f"\n{words(result)}")
    click.echo(one_line(f"In words: {options.out / DECISIONS_FILE}"))
    if result.report:
        click.echo(one_line(f"Report to read and print: {options.out / result.report}"))
    click.echo(one_line(f"Results: {options.out}"))
    whole = all(photo["status"] == COUNTED for photo in (*result.photos, result.summary))
    return DONE if whole and session.is_recorded else NOT_ALL_COUNTED


def _watch(session: WatchSession, options: WatchOptions, shown: Screen) -> None:
    """Look again and again; with ``finish``, until nothing is left to wait for."""
    every_s, lost = min(_EVERY_S, max(0.05, options.settle_s / 2)), False
    for _ in wakes(options.folder, every_s, poll=options.poll):
        try:
            session.look()
        except FolderUnreachableError as error:
            if options.finish:
                raise
            if not lost:
                shown.say(one_line(f"{error}"))
            lost = True
            continue
        lost = False
        shown.show(session.result, session.waiting)
        if options.finish and not session.unsettled:
            return


def _shower(shown: Screen) -> Callable[[WatchSession], None]:
    """Return what shows a session, and says once when enough was seen."""
    was_settled = False

    def show(session: WatchSession) -> None:
        nonlocal was_settled
        shown.show(session.result, session.waiting)
        settled = session.result is not None and session.result.is_settled
        if session.result is not None and settled and not was_settled:
            announce(session.result, shown.say)
        was_settled = settled

    return show
