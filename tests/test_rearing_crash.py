"""The log under crashes and under several programs at once.

Killing a program stands for a crash of the program. That what was committed also
outlives a loss of power rests on the database's own promise (synchronous = EXTRA).
"""

from __future__ import annotations

import random
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

from sporecount.rearing.log import RearingLog

PHOTOS = 4
KILLS = 20

#: Opens the log and records results for ever; each is named once it is saved.
WRITER = f"""
import sys
from sporecount.rearing.log import RearingLog
path, name, most = sys.argv[1], sys.argv[2], int(sys.argv[3])
print("ready", flush=True)
with RearingLog.open(path) as log:
    for number in range(most):
        photos = [dict(photo=f"{{i}}.jpg", sha256=f"{{i:064x}}") for i in range({PHOTOS})]
        done = log.record_sample(dict(sample=name, photos=photos, spores=number))
        print(done.result_id, flush=True)
"""


def start(path: Path, name: str, most: int = 10**9) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", WRITER, str(path), name, str(most)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def check_whole(path: Path) -> set[str]:
    """Open the log as anybody would; return its results, each with all its photos."""
    with RearingLog.open(path) as log:
        rows = log.rows()
    connection = sqlite3.connect(path)
    assert connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
    assert connection.execute("PRAGMA foreign_key_check").fetchone() is None
    connection.close()
    of_result = [row["result_id"] for row in rows["photos"]]
    assert all(of_result.count(row["id"]) == PHOTOS for row in rows["results"][-3:])
    assert len(of_result) == PHOTOS * len(rows["results"])
    results = [str(row["id"]) for row in rows["results"]]
    assert len(set(results)) == len(results)
    return set(results)


def test_killed_at_random_moments_nothing_is_lost_or_halved(tmp_path: Path) -> None:
    chance = random.Random(4)
    path = tmp_path / "log.sqlite3"
    reported: set[str] = set()
    for kill in range(KILLS):
        writer = start(path, f"kill {kill}")
        assert writer.stdout is not None
        writer.stdout.readline()
        time.sleep(chance.uniform(0.0, 0.12))  # the first kills meet the log being made
        writer.kill()
        rest, _ = writer.communicate()
        lines = [line for line in rest.split("\n")[:-1] if len(line) == 36]
        reported |= set(lines)
        saved = check_whole(path)
        assert reported <= saved
        # At most one result of each run was saved and not yet reported.
        assert len(saved - reported) <= kill + 1
    assert len(reported) > KILLS


def test_killed_while_the_log_is_made(tmp_path: Path) -> None:
    chance = random.Random(5)
    for kill in range(6):
        path = tmp_path / f"{kill}.sqlite3"
        writer = start(path, "first")
        assert writer.stdout is not None
        writer.stdout.readline()
        time.sleep(chance.uniform(0.0, 0.01))
        writer.kill()
        writer.communicate()
        check_whole(path)


def test_killed_during_an_import_all_of_it_is_there_or_none(tmp_path: Path) -> None:
    chance = random.Random(6)
    folder = tmp_path / "csv"
    folder.mkdir()
    names = "".join(f"B{number},egg\n" for number in range(3000))
    (folder / "broods.csv").write_text(f"name,source\n{names}", "utf-8")
    code = (
        "import sys; from sporecount.rearing.log import RearingLog; "
        "import sporecount.rearing.transfer, sporecount.rearing.csv_files; "
        "log = RearingLog.open(sys.argv[1]); print('ready', flush=True); "
        "log.import_csv(sys.argv[2]); print('done', flush=True)"
    )
    for kill in range(6):
        path = tmp_path / f"{kill}.sqlite3"
        command = [sys.executable, "-c", code, str(path), str(folder)]
        importer = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert importer.stdout is not None
        importer.stdout.readline()
        time.sleep(chance.uniform(0.0, 0.25))
        importer.kill()
        output, _ = importer.communicate()
        with RearingLog.open(path) as log:
            broods = len(log.rows()["broods"])
        assert broods in ((3000,) if "done" in output else (0, 3000))


def test_four_programs_write_at_once_and_none_loses_a_result(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite3"  # which all four want to make
    writers = [start(path, f"program {number}", 40) for number in range(4)]
    with RearingLog.open(path) as log:
        for _ in range(10):
            log.rows()  # reading at the same time stops nobody
    reported: list[str] = []
    for writer in writers:
        output, _ = writer.communicate(timeout=120)
        assert writer.returncode == 0
        reported += [line for line in output.split("\n") if len(line) == 36]
    assert len(reported) == len(set(reported)) == 160
    assert check_whole(path) == set(reported)
    with RearingLog.open(path) as log:
        assert len(log.rows()["samples"]) == 4
