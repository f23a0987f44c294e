"""`import sporecount` must stay quick: nothing heavy until it is used."""

from __future__ import annotations

import subprocess
import sys

import pytest

import sporecount

HEAVY = ("numpy", "cv2", "skimage", "scipy", "pandas", "PIL", "napari", "qtpy", "PyQt6", "rich")


def _modules_after(code: str) -> set[str]:
    command = [sys.executable, "-c", f"{code}; import sys; print(*sys.modules)"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return {name.split(".")[0] for name in done.stdout.split()}


@pytest.mark.parametrize("code", ["import sporecount", "import sporecount.cli"])
def test_import_loads_nothing_heavy(code: str) -> None:
    assert not _modules_after(code) & set(HEAVY)


@pytest.mark.parametrize("name", sporecount.__all__)
def test_every_public_name_is_there(name: str) -> None:
    assert getattr(sporecount, name) is not None
    assert name in dir(sporecount)


def test_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'coutn'"):
        sporecount.coutn  # noqa: B018
