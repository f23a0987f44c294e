"""Where the time of a count goes, stage by stage, and how much memory it takes.

    python tests/benchmarks/stages.py

Times are the least of several runs, as ratios to merely decoding the same file in the
same run; milliseconds are for information only, they belong to one machine. Each stage
is counted without the stages inside it.
"""

from __future__ import annotations

import argparse
import resource
import sys
import time
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from functools import wraps
from importlib import import_module
from multiprocessing import get_context
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from count_benchmark import photo_of

#: Stage -> where it is looked up when the chain runs. None runs on a thread of another.
STAGES = {
    "field": ("sporecount.field.make", "make_field"),
    "cheap look": ("sporecount.detect.search", "promising"),
    "windows": ("sporecount.detect.search", "windows"),
    "search": ("sporecount.detect.search", "on_threads"),
    "closer look": ("sporecount.detect.detector", "look_closer"),
    "outlines": ("sporecount.detect.detector", "outline_columns"),
}
#: The search at other scales is one stage, whatever it calls.
WHOLE = {"other scales": ("sporecount.detect.size", "lengths_for_scale_check")}
SIZES = ((1600, 1200), (4000, 3000))


class Clock:
    """Seconds of each stage, without the stages inside it."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = defaultdict(float)
        self._open: list[tuple[str, bool]] = []

    def watch(self, stage: str, module: str, name: str, whole: bool = False) -> None:
        """Time every call of a function that the chain looks up by name."""
        home = import_module(module)
        inner = getattr(home, name)

        @wraps(inner)
        def timed(*args, **kwargs):
            if self._open and self._open[-1][1]:
                return inner(*args, **kwargs)
            self._open.append((stage, whole))
            began = time.perf_counter()
            try:
                return inner(*args, **kwargs)
            finally:
                took = time.perf_counter() - began
                self._open.pop()
                self.seconds[stage] += took
                if self._open:
                    self.seconds[self._open[-1][0]] -= took

        setattr(home, name, timed)


def peak_mib() -> float:
    """Return this process's peak memory: on Linux without what its parent had before it."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (
        1024 if sys.platform != "darwin" else 2**20
    )


def measure(job):
    """Count one photo several times; return its stages' least seconds and the peak memory."""
    packed, um_per_px, repeats = job
    import cv2

    from sporecount.counting import count_photo
    from sporecount.photo.photo import Photo
    from sporecount.scale.calibration import Calibration

    clock = Clock()
    for stage, place in STAGES.items():
        clock.watch(stage, *place)
    for stage, place in WHOLE.items():
        clock.watch(stage, *place, whole=True)
    scale = Calibration(um_per_px, "drawn")
    count_photo(Photo("first", np.full((300, 300, 3), 200, np.uint8), sha256=""), scale)
    before = peak_mib()
    least: dict[str, float] = {}
    for _ in range(repeats):
        clock.seconds.clear()
        began = time.perf_counter()
        pixels = cv2.imdecode(packed, cv2.IMREAD_COLOR_RGB)
        decoded = time.perf_counter()
        count_photo(Photo("photo", pixels, sha256=""), scale)
        ended = time.perf_counter()
        now = dict(clock.seconds) | {"decode": decoded - began, "all": ended - began}
        now["rest"] = ended - decoded - sum(clock.seconds.values())
        least = {stage: min(took, least.get(stage, took)) for stage, took in now.items()}
    return least, before, peak_mib()


def main() -> None:
    """Print one table for each size."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--photos", type=int, default=2, help="photos per condition and size")
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--conditions", nargs="*", default=["10x", "phone"])
    given = parser.parse_args()
    for size_px in SIZES:
        rows = []
        for condition in given.conditions:
            for number in range(given.photos):
                drawn, packed = photo_of(condition, number, size_px)
                job = (packed, drawn.plan.um_per_px, given.repeats)
                # A process of its own, so that the peak is this photo's alone.
                with ProcessPoolExecutor(1, get_context("spawn")) as pool:
                    rows.append(pool.submit(measure, job).result())
        print_table(size_px, rows)


def print_table(size_px, rows) -> None:
    """Print ratios to decoding, milliseconds per megapixel, and memory."""
    say = sys.stdout.write
    megapixels = size_px[0] * size_px[1] / 1e6 * len(rows)
    sums = {stage: sum(least.get(stage, 0.0) for least, _, _ in rows) for stage in STAGES | WHOLE}
    sums |= {stage: sum(least[stage] for least, _, _ in rows) for stage in ("rest", "all")}
    decode = sum(least["decode"] for least, _, _ in rows)
    say(f"{size_px[0]} x {size_px[1]} pixels, {len(rows)} photos\n")
    for stage, seconds in {"decode": decode, **sums}.items():
        per = seconds / megapixels * 1000
        say(f"  {stage:14}{seconds / decode:8.2f} times decoding {per:8.2f} ms/MP\n")
    base, peak = (max(row[i] for row in rows) for i in (1, 2))
    say(f"  memory, MiB    {peak:6.0f} at most, {base:.0f} of it before the first photo\n")


if __name__ == "__main__":
    main()
