"""Killed in the middle of `score` or `watch`, nothing is lost or doubled and the log opens."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def test_killed_at_random_moments_it_comes_to_the_same() -> None:
    script = Path(__file__).parent / "benchmarks/kill_benchmark.py"
    command = [sys.executable, str(script), "--kills", "1", "--photos", "2"]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count("faults 0") == 2
