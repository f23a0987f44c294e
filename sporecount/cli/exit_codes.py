"""What the exit codes of the command mean, in one table."""

from __future__ import annotations

DONE = 0
NOT_ALL_COUNTED = 1
WRONG_USE = 2
NOTHING_DONE = 3
STOPPED = 130

#: Exit code -> meaning, as the help prints it.
EXIT_CODES: dict[int, str] = {
    DONE: "all is done",
    NOT_ALL_COUNTED: "results are written, but a photo was refused or unreadable",
    WRONG_USE: "wrong use: an option, a path, a settings file or a sheet",
    NOTHING_DONE: "nothing is written: no photo, no scale, or no ruling found",
    STOPPED: "stopped by hand (Ctrl-C); the same command goes on from there",
}


def exit_codes_text() -> str:
    """Return the table as lines for the help."""
    return "\n".join(f"  {code:>3}  {meaning}" for code, meaning in EXIT_CODES.items())
