"""Each source that is cited is in the bibliography, and each entry is cited."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parent.parent
BIBLIOGRAPHY = ROOT / "docs" / "bibliography.md"

#: A key: an author (or a short title) with a year, or a numbered standard.
KEY = re.compile(r"\[([a-z][a-z-]*\d+[a-z]?)\]")


def _cited() -> dict[str, Path]:
    files = [*(ROOT / "sporecount").rglob("*.py"), *(ROOT / "docs").rglob("*.md")]
    return {
        key: file
        for file in files
        if file != BIBLIOGRAPHY
        for key in KEY.findall(file.read_text("utf-8"))
    }


def _entries() -> list[str]:
    return re.findall(r"^- \*\*\[([^\]]+)\]\*\*", BIBLIOGRAPHY.read_text("utf-8"), re.MULTILINE)


def test_every_citation_is_in_the_bibliography() -> None:
    missing = {key: file.name for key, file in _cited().items() if key not in _entries()}
    assert not missing


def test_every_entry_is_cited() -> None:
    assert not set(_entries()) - set(_cited())


def test_entries_are_sorted_and_each_there_once() -> None:
    assert _entries() == sorted(set(_entries()))
