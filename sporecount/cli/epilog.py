"""The end of a help text: examples and exit codes, line by line."""

from __future__ import annotations

from sporecount.cli.exit_codes import exit_codes_text


def examples_epilog(*examples: str) -> str:
    """Return the end of a help text with examples, each a whole command."""
    # The mark tells click to leave the lines of a paragraph as they are.
    return "\b\nExamples:\n" + "\n".join(f"  {example}" for example in examples)


def codes_epilog(*examples: str) -> str:
    """Return the end of a help text with examples and exit codes."""
    return f"{examples_epilog(*examples)}\n\n\b\nExit codes:\n{exit_codes_text()}"
