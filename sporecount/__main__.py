"""Run the command line as ``python -m sporecount``."""

from __future__ import annotations

from sporecount.cli import main

if __name__ == "__main__":
    main(prog_name="sporecount")
