"""The edge where errors become one line and an exit code."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from functools import partial, wraps
from typing import Any, ParamSpec

import click

from sporecount.cli.exit_codes import NOTHING_DONE, STOPPED, WRONG_USE
from sporecount.errors import SettingsError, SheetError, SporecountError

P = ParamSpec("P")


class OneLineGroup(click.Group):
    """A group of commands that reports wrong use on one line, with where to read on."""

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        **extra: Any,
    ) -> Any:
        """Run; see :meth:`click.Command.main`."""
        run: Callable[[], Any] = partial(
            super().main, args, prog_name, complete_var, standalone_mode=False, **extra
        )
        if not standalone_mode:
            return run()
        try:
            code: int = run()
        except click.UsageError as error:
            if "\n" in error.message:  # the whole help, where a command was called bare
                error.show()
            else:
                where = error.ctx.command_path if error.ctx else "sporecount"
                message = error.format_message().rstrip(".")
                click.echo(f"Error: {one_line(message)}. See `{where} --help`.", err=True)
            code = WRONG_USE
        except click.ClickException as error:
            click.echo(f"Error: {one_line(error.format_message())}", err=True)
            code = error.exit_code
        except click.Abort:
            click.echo("Stopped.", err=True)
            code = STOPPED
        sys.exit(code)


def one_line_errors(command: Callable[P, int]) -> Callable[P, None]:
    """Wrap a command so that it exits by its code, and errors print as one line.

    Parameters
    ----------
    command : callable
        Returns the exit code.
    """

    @wraps(command)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> None:
        _survive_odd_names()
        try:
            code = command(*args, **kwargs)
        except SporecountError as error:
            click.echo(f"Error: {one_line(str(error))}", err=True)
            code = WRONG_USE if isinstance(error, (SettingsError, SheetError)) else NOTHING_DONE
        except OSError as error:
            where = f"{error.filename}: " if error.filename else ""
            click.echo(f"Error: {one_line(where + (error.strerror or str(error)))}", err=True)
            code = NOTHING_DONE
        except KeyboardInterrupt:
            click.echo("Stopped.", err=True)
            code = STOPPED
        click.get_current_context().exit(code)

    return wrapped


def one_line(text: str) -> str:
    r"""Return a text on one line, without control characters.

    Examples
    --------
    >>> one_line("odd\nname\x1b[31m")
    'odd name?[31m'
    """
    joined = " ".join(text.split())
    return "".join(letter if letter.isprintable() else "?" for letter in joined)


def _survive_odd_names() -> None:
    """Let names that the terminal cannot show come out as question marks."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
