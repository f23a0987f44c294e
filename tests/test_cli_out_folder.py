"""One program at a time in a folder of results, and what a killed one leaves there."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from sporecount.cli import main
from sporecount.cli.out_folder import OutInUseError, clear_half_written, held

_HOLDER = """
import sys, time
from pathlib import Path
from sporecount.cli.out_folder import held
with held(Path(sys.argv[1])):
    print("held", flush=True)
    time.sleep(120)
"""
_HALF = ".0123456789abcdef0123456789abcdef.part"


@pytest.fixture
def photos(tmp_path: Path) -> Path:
    folder = tmp_path / "A1"
    folder.mkdir()
    Image.fromarray(np.full((300, 300, 3), 200, np.uint8)).save(folder / "clear.png")
    return folder


@pytest.fixture
def holder(tmp_path: Path) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [sys.executable, "-c", _HOLDER, str(tmp_path / "out")], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.communicate()


def run(command: str, folder: Path, *further: str) -> Result:
    given = [command, str(folder), "--um-per-px", "0.65", "--out", str(folder.parent / "out")]
    return CliRunner().invoke(main, [*given, *further])


@pytest.mark.parametrize("command", ["count", "score", "watch"])
def test_a_second_run_is_told_in_one_line_and_writes_nothing(
    command: str, photos: Path, holder: subprocess.Popen[str]
) -> None:
    result = run(command, photos)
    assert result.exit_code == 3
    assert result.output == (
        f"Error: {photos.parent / 'out'}: another sporecount is at work in this folder of results. "
        "Wait until it has ended, or give another folder.\n"
    )
    assert [file.name for file in (photos.parent / "out").iterdir()] == [".sporecount-lock"]


def test_a_killed_run_leaves_no_lock(photos: Path, holder: subprocess.Popen[str]) -> None:
    holder.send_signal(signal.SIGKILL)
    holder.wait()
    assert run("score", photos).exit_code == 0


def test_another_folder_is_free(photos: Path, holder: subprocess.Popen[str]) -> None:
    result = run("count", photos, "--out", str(photos.parent / "other"))
    assert result.exit_code == 0, result.output


def test_the_lock_ends_with_the_run_and_with_an_error(tmp_path: Path) -> None:
    def fails() -> None:
        with held(tmp_path), pytest.raises(OutInUseError), held(tmp_path):
            pass
        with held(tmp_path):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        fails()
    with held(tmp_path):
        pass


def test_a_run_takes_away_what_an_earlier_one_left_half_written(photos: Path) -> None:
    out = photos.parent / "out"
    left = [out / place / _HALF for place in ("", "marked/tray", ".sporecount-parts", "reports")]
    others = [out / "notes.part", out / ".mine.part", out / "mine" / _HALF, photos / _HALF]
    for file in (*left, *others):
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(b"half")
        os.utime(file, (time.time() - 60, time.time() - 60))
    assert run("score", photos).exit_code == 0
    assert [file for file in left if file.exists()] == []
    assert [file for file in others if not file.exists()] == []


def test_what_may_still_be_being_written_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / _HALF
    file.write_bytes(b"half")
    clear_half_written(tmp_path, before=file.stat().st_mtime - 1)
    assert file.exists()
    clear_half_written(tmp_path, before=file.stat().st_mtime + 1)
    assert not file.exists()
