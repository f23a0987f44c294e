"""The command of the egg bath, its options and its help."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from sporecount.cli.edge import one_line_errors
from sporecount.cli.epilog import codes_epilog
from sporecount.errors import SporecountError

_EXAMPLES = (
    "sporecount bath --label 6 --want 5%v/v --volume 100ml --seconds 60",
    'sporecount bath --label 8.25 --want 2500ppm --volume 1cup --seconds 60 --brood "garden 3"',
    "sporecount bath --label 6 --product 5ml --water 95ml --no-timer",
    'sporecount bath --label 6 --want 1in20 --no-timer --took 60 --brood "garden 3" --rinsed yes',
)


class _Written(click.ParamType):
    """An option that is written with its unit."""

    def __init__(self, name: str, reader: str) -> None:
        self.name = name
        self._reader = reader

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read the text, or say what is wrong with it."""
        if not isinstance(value, str):
            return value
        from sporecount.bath import strength

        read: Callable[[str], Any] = getattr(strength, self._reader)
        try:
            return read(value)
        except SporecountError as error:
            self.fail(str(error).rstrip("."), param, ctx)


_VOLUME = _Written("volume", "parse_volume")
_SECONDS = click.FloatRange(min=0, min_open=True, max=86_400)


@click.command(epilog=codes_epilog(*_EXAMPLES))
@click.option(
    "--label",
    required=True,
    type=_Written("percent", "parse_label"),
    help="Sodium hypochlorite in the product, percent, as its label says.",
)
@click.option(
    "--want",
    type=_Written("strength", "parse_strength"),
    help="Strength of the bath: 5%v/v, 1in20, 5+95, 3000ppm or 0.3%active.",
)
@click.option(
    "--volume",
    type=_VOLUME,
    default="100ml",
    show_default=True,
    help="Volume of the bath: ml, cl, l, or US floz, cup, gal.",
)
@click.option("--product", type=_VOLUME, help="Product that is in the bath, in place of --want.")
@click.option("--water", type=_VOLUME, help="Water that is in the bath, with --product.")
@click.option("--seconds", type=_SECONDS, help="Contact for the timer.")
@click.option("--no-timer", is_flag=True, help="Run no timer.")
@click.option("--took", type=_SECONDS, help="Seconds that a bath without the timer took.")
@click.option("--rinsed", type=click.Choice(["yes", "no"]), help="Were the eggs rinsed after it?")
@click.option("--brood", help="Record the bath in the log, for this brood.")
@click.option(
    "--log",
    "log_file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="File of the log; your own by default, or the one that SPORECOUNT_LOG names.",
)
@one_line_errors
def bath(**options: Any) -> int:
    """Work out an egg bath, show the cautions, time the contact and record it.

    Advice on egg baths conflicts. The command shows what is done elsewhere side by
    side and warns of what is unusual; it does not recommend any bath.
    """
    from sporecount.cli.bath_run import BathOptions, run_bath

    return run_bath(BathOptions(**options))
