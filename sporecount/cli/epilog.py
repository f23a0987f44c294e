"""The end of a help text: examples, line by line."""

from __future__ import annotations


def examples_epilog(*examples: str) -> str:
    """Return the end of a help text with examples, each a whole command."""
    # The mark tells click to leave the lines of a paragraph as they are.
    return "\b\nExamples:\n" + "\n".join(f"  {example}" for example in examples)
