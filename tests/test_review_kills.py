"""A review that is killed at random moments: what was done is there, at most the last is lost."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
from PIL import Image

from sporecount.render.conditions import condition_plan
from sporecount.render.picture import render
from sporecount.review.opening import ScaleChoice, from_paths
from sporecount.review.record import read_review
from sporecount.review.session import ReviewSession

KILLS = 10

#: Reviews a photo for ever, and names each action once it is done. It goes on where the
#: one before was killed.
PERSON = """
import random, sys
from sporecount.review.opening import ScaleChoice, from_paths
from sporecount.review.session import ReviewSession
photos = from_paths([sys.argv[1]], ScaleChoice(um_per_px=float(sys.argv[2])))
session = ReviewSession(photos, who="Ann")
review, chance = session.open(0), random.Random(int(sys.argv[3]))
print("ready", len(review.actions), flush=True)
while True:
    names = [name for name, row in review.ledger.rows.items() if row["standing"]]
    kind = chance.choice(("confirm", "reject", "state", "undo", "redo", "part", "add"))
    if kind == "part" and names:
        session.part(chance.choice(names))
    elif kind == "add" or not names:
        corner = chance.uniform(60, 200), chance.uniform(60, 200)
        session.add_drawn([(corner[0] + x, corner[1] + y) for x, y in ((0, 0), (9, 0), (9, 7))])
    elif kind == "undo":
        session.undo()
    elif kind == "redo":
        session.redo()
    else:
        session.act(kind, [chance.choice(names)], state="damaged" if kind == "state" else None)
    print(len(review.actions), review.totals().spores, flush=True)
"""


def test_killed_at_ten_random_moments_no_action_that_was_done_is_lost(tmp_path: Path) -> None:
    rng, chance = np.random.default_rng([3, 21]), random.Random(8)
    made = render(condition_plan("10x", rng, (320, 260)), rng)
    photo = tmp_path / "a.png"
    Image.fromarray(made.pixels).save(photo)
    photos = from_paths([photo], ScaleChoice(um_per_px=made.plan.um_per_px))
    with ReviewSession(photos, who="Ann") as session:
        path = session.open(0).path
    lost, said = [], [0, 0]
    for kill in range(KILLS):
        command = [sys.executable, "-c", PERSON, str(photo), str(made.plan.um_per_px), str(kill)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as person:
            assert person.stdout is not None
            ready, there = person.stdout.readline().split()
            assert ready == "ready"
            assert int(there) >= said[0]
            time.sleep(chance.uniform(0.0, 0.4))
            person.kill()
            told = person.stdout.read().splitlines()
        whole = [line for line in told if len(line.split()) == 2]
        said = [int(value) for value in whole[-1].split()] if whole else [int(there), -1]
        kept = len(read_review(path).actions)
        lost.append(max(0, said[0] - kept))
        # Nothing can be on the disk that was not begun: one more than was named at most.
        assert kept <= said[0] + 1
        with ReviewSession(photos, who="Ann") as session:
            review = session.open(0)
            assert len(review.actions) == kept
            totals = session.totals
            assert totals is not None
            if kept == said[0] and said[1] >= 0:
                assert totals.spores == said[1]
    assert lost == [0] * KILLS
    assert said[0] > KILLS
