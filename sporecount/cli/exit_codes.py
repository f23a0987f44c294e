"""What the exit codes of the command mean, in one table."""

from __future__ import annotations

import textwrap

DONE = 0
NOT_ALL_COUNTED = 1
WRONG_USE = 2
NOTHING_DONE = 3
STOPPED = 130

#: Exit code -> meaning, as the help prints it.
EXIT_CODES: dict[int, str] = {
    DONE: "all is done",
    NOT_ALL_COUNTED: "written, but not all: a photo refused or unreadable, a result that the log "
    "does not take, an import with open conflicts",
    WRONG_USE: "wrong use: an option, a path, a settings file or a sheet",
    NOTHING_DONE: "nothing is written: no photo, no scale, no ruling found, a log that "
    "cannot be used, or another run at work in the same folder",
    STOPPED: "stopped by hand (Ctrl-C); the same command goes on from there",
}


def exit_codes_text() -> str:
    """Return the table as lines for the help, none longer than a terminal is wide."""
    lines = []
    for code, meaning in EXIT_CODES.items():
        lines += textwrap.wrap(
            meaning, 79, initial_indent=f"  {code:>3}  ", subsequent_indent=" " * 7
        )
    return "\n".join(lines)
