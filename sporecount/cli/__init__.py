"""The command line: only this package prints and exits."""

from __future__ import annotations

from sporecount.cli.commands import main

__all__ = ["main"]
