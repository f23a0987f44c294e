"""Where the log is."""

from __future__ import annotations

import os
from pathlib import Path

#: Names the log's file, for shared computers and for tests.
LOG_VARIABLE = "SPORECOUNT_LOG"
FILE_NAME = "rearing-log.sqlite3"


def log_path(given: Path | None = None) -> Path:
    """Return the log's file: the one given, else the variable's, else the user's own."""
    if given is not None:
        return given
    named = os.environ.get(LOG_VARIABLE)
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_data_dir("sporecount", appauthor=False)) / FILE_NAME
