"""Kills `score` and `watch` at random moments: nothing lost, nothing doubled, the log opens.

    python tests/benchmarks/kill_benchmark.py --kills 20

Each trial begins with an empty folder of results. The program is killed at a moment drawn
evenly from its usual time, sometimes once more while it takes up its work, and then left to
end. Right after each kill the log must open whole, and tables must be whole or missing. At
the end tables must be the same bytes as those of a run that nobody killed, and the log must
hold the sample once, its newest result the same, and no result twice. Exits by 1 if not.
"""

from __future__ import annotations

import argparse
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image

from sporecount.rearing.log import RearingLog
from sporecount.render.tape import TapePlan, render_tape

SCALE = 0.9
TABLES = ("samples.csv", "sample_detections.csv", "photos.csv", "decisions.txt")

#: How long a file must stay the same in these trials, s.
SETTLE_S = 0.15


def draw_photos(folder: Path, count: int) -> list[Path]:
    """Save the photos of one small tape."""
    plan = TapePlan((count, 1), (420, 340), SCALE, 0.35, spores_per_mm2=150.0, turn_deg=1.0)
    folder.mkdir(parents=True)
    paths = []
    for number, photo in enumerate(render_tape(plan, np.random.default_rng(7)).photos):
        paths.append(folder / f"{number}.png")
        Image.fromarray(photo.pixels).save(paths[-1])
    return paths


@dataclass
class Trial:
    """One folder of photos, results and a log."""

    home: Path
    what: str
    photos: list[Path]
    interval_s: float
    faults: list[str] = field(default_factory=list)

    @property
    def log(self) -> Path:
        return self.home / "log.sqlite3"

    @property
    def out(self) -> Path:
        return self.home / "out"

    def command(self, *, finish: bool) -> list[str]:
        given = [self.what, self.home / "A1", "--um-per-px", SCALE, "--out", self.out]
        given += ["--log", self.log]
        if self.what == "score":
            given += ["--jobs", "2"]
        else:
            given += ["--settle", SETTLE_S, *(["--finish"] if finish else [])]
        return [sys.executable, "-m", "sporecount", *map(str, given)]

    def drop(self) -> None:
        """Drop the photos into the folder: slowly, in halves, under a first name."""
        for photo in self.photos:
            content = photo.read_bytes()
            first, last = self.home / "A1" / f"new {photo.name}", self.home / "A1" / photo.name
            with first.open("wb") as file:
                file.write(content[: len(content) // 2])
                file.flush()
                time.sleep(self.interval_s / 4)
                file.write(content[len(content) // 2 :])
            first.rename(last)
            time.sleep(self.interval_s)

    def start(self, *, finish: bool) -> subprocess.Popen[bytes]:
        quiet = subprocess.DEVNULL
        return subprocess.Popen(self.command(finish=finish), stdout=quiet, stderr=quiet)

    def check_now(self) -> None:
        """Check what a kill left: a log that opens, tables that are whole."""
        if self.log.exists():
            with RearingLog.open(self.log) as log:
                kept = log.rows()
            self.check_database()
            photos = [row["result_id"] for row in kept["photos"]]
            if any(photos.count(row["id"]) != row["photos"] for row in kept["results"]):
                self.faults.append("a result without all its photos")
        for name in TABLES:
            path = self.out / name
            if path.exists() and not path.read_bytes().endswith(b"\n"):
                self.faults.append(f"{name} is not whole")

    def check_database(self) -> None:
        connection = sqlite3.connect(self.log)
        if connection.execute("PRAGMA integrity_check").fetchone()[0] != "ok":
            self.faults.append("the log is damaged")
        connection.close()

    def newest(self) -> tuple[str, int]:
        """Return the hash of the newest result and the number of results."""
        with RearingLog.open(self.log) as log:
            kept = log.rows()
        if len(kept["samples"]) != 1:
            self.faults.append(f"{len(kept['samples'])} samples in the log")
        hashes = [str(row["content_sha256"]) for row in kept["results"]]
        if len(set(hashes)) != len(hashes):
            self.faults.append("a result is in the log twice")
        return hashes[-1], len(hashes)

    def end(self) -> None:
        """Let the program end by itself."""
        done = subprocess.run(self.command(finish=True), capture_output=True, text=True)
        if done.returncode != 0:
            self.faults.append(f"exit code {done.returncode}: {done.stderr[-300:]}")


def prepared(home: Path, what: str, photos: list[Path], interval_s: float) -> Trial:
    trial = Trial(home, what, photos, interval_s)
    (home / "A1").mkdir(parents=True)
    if what == "score":
        for photo in photos:
            shutil.copy(photo, home / "A1")
    return trial


def run_killed(trial: Trial, usual_s: float, chance: np.random.Generator) -> tuple[int, int]:
    """Run a trial; return how often it was killed, and how often it had ended before."""
    kills = early = 0
    dropping = threading.Thread(target=trial.drop if trial.what == "watch" else lambda: None)
    dropping.start()
    for _ in range(1 + int(chance.random() < 0.4)):
        process = trial.start(finish=False)
        try:
            process.wait(float(chance.uniform(0.0, usual_s)))
            early += 1
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            kills += 1
        trial.check_now()
    dropping.join()
    trial.end()
    return kills, early


def benchmark(what: str, kills: int, photo_count: int, seed: int) -> bool:
    """Kill one command so many times; say what came of it."""
    chance = np.random.default_rng(seed)
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        photos = draw_photos(home / "photos", photo_count)
        interval_s = 0.8
        whole = prepared(home / "whole", what, photos, interval_s)
        began = time.monotonic()
        if what == "watch":
            whole.drop()
        whole.end()
        usual_s = time.monotonic() - began + (0.5 if what == "watch" else 0.0)
        expected, _ = whole.newest()
        done = trials = early = 0
        results, faults = [], list(whole.faults)
        while done < kills:
            trials += 1
            trial = prepared(home / f"trial-{trials}", what, photos, interval_s)
            killed, ended = run_killed(trial, usual_s, chance)
            done, early = done + killed, early + ended
            newest, count = trial.newest()
            results.append(count)
            if newest != expected:
                trial.faults.append("the newest result in the log is another one")
            for name in TABLES:
                if (trial.out / name).read_bytes() != (whole.out / name).read_bytes():
                    trial.faults.append(f"{name} differs")
            faults += [f"trial {trials}: {fault}" for fault in trial.faults]
            shutil.rmtree(trial.home)
    print(
        f"{what}: {done} kills in {trials} trials ({early} times it had ended before), "
        f"usual time {usual_s:.1f} s, results in the log {min(results)} to {max(results)}, "
        f"faults {len(faults)}",
        flush=True,
    )
    for fault in faults:
        print(f"  {fault}")
    return not faults


def main() -> None:
    """Run both commands."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--photos", type=int, default=4)
    parser.add_argument("--seed", type=int, default=20_261_125)
    options = parser.parse_args()
    fine = [
        benchmark(what, options.kills, options.photos, options.seed) for what in ("score", "watch")
    ]
    sys.exit(0 if all(fine) else 1)


if __name__ == "__main__":
    main()
