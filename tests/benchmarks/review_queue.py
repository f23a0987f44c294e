"""How many looks bring the counts of rendered photos near the truth: by the queue, and without.

    python tests/benchmarks/review_queue.py --photos 20

A scripted person knows the truth, looks at one spot after the other, and does what is right:
confirms, rejects, sets the state, adds a missed spore, or sees that nothing is there. When all
spots are done the person looks through the photos, and adds what is still missing.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))

from reviewing import Drawn, actions_by_truth, drawn, new_row, places, seen_truth, spores_in

from sporecount.counts.loadclass import load_class
from sporecount.counts.rates import load_rates
from sporecount.detect.matching import WITHIN_UM, match_centres
from sporecount.detect.table import SPORE_STATES
from sporecount.render.conditions import CONDITIONS, RUINED
from sporecount.review.actions import Action
from sporecount.review.ledger import Ledger
from sporecount.review.queue import open_spots, order
from sporecount.review.second_look import SecondLook, second_look
from sporecount.review.settlement import settled
from sporecount.settings import Settings

#: Seed of the photos; training, calibration and the other benchmarks have others.
SEED = 60_411

WITHIN = 0.02
SHUFFLES = 50

#: One look: the photo, and the spot's id; empty ones stand for a look through the photo.
Look = tuple[int, str]


@dataclass
class Task:
    """A photo to review, with what a person would do at each spot."""

    one: Drawn
    second: SecondLook
    ledger: Ledger
    said: dict[str, list[Action]]
    spores: int
    queue: list[tuple[str, float]]

    @property
    def counted(self) -> int:
        """Spores that stand now."""
        return sum(self.ledger.states[state] for state in SPORE_STATES)


def task(condition: str, seed: int, size: tuple[int, int]) -> Task | None:
    """Draw a photo and prepare its review; None where the tool refuses it."""
    one = drawn(condition, SEED + seed, size)
    if one.counted.summary["status"] != "counted":
        return None
    found = one.counted.detections
    second = second_look(one.counted.field, found, Settings().detect)
    truth = seen_truth(one)
    said = actions_by_truth(one, truth)
    within = WITHIN_UM / one.um_per_px
    left = truth.iloc[match_centres(places(found), places(truth), within).true_left]
    pairs = match_centres(places(second.misses), places(left), within)
    number = 0
    for spot, true in zip(pairs.found.tolist(), pairs.true.tolist()):
        number += 1
        made = new_row(f"p{number}", left.iloc[true])
        said[second.misses["id"].iat[spot]] = [Action("add", made=(made,))]
    said[""] = []
    for true in pairs.true_left.tolist():
        number += 1
        said[""].append(Action("add", made=(new_row(f"p{number}", left.iloc[true]),)))
    ledger = Ledger(found)
    queue = order(ledger.rows, second, one.um_per_px, most=10**6)
    return Task(
        one,
        second,
        ledger,
        said,
        spores_in(truth),
        list(zip(queue["id"].tolist(), queue["gain"].tolist())),
    )


def errors_after(tasks: Sequence[Task], looks: Sequence[Look]) -> tuple[np.ndarray, np.ndarray]:
    """Do the looks in order; return the sum of errors and the error of the sum after each.

    Both over the true number of all photos.
    """
    for each in tasks:
        each.ledger = Ledger(each.one.counted.detections)
    apart = np.array([each.counted - each.spores for each in tasks], float)
    sums, totals = [np.abs(apart).sum()], [abs(apart.sum())]
    for place, name in looks:
        each = tasks[place]
        acts = each.said.get(name, [])
        # A look through a photo takes one action for each that is added.
        for action in acts or [None]:
            if action is not None:
                each.ledger.do(action)
                apart[place] = each.counted - each.spores
            sums.append(np.abs(apart).sum())
            totals.append(abs(apart.sum()))
    spores = sum(each.spores for each in tasks)
    return np.array(sums) / spores, np.array(totals) / spores


def first_within(errors: np.ndarray) -> int:
    """Return after how many looks the error is within 2 % for good."""
    outside = np.flatnonzero(errors > WITHIN)
    return 0 if not outside.size else int(outside[-1]) + 1


def by_queue(tasks: Sequence[Task], at_once: int) -> list[Look]:
    """Return looks by the queue: the photo with most to gain next, so many looks at a time."""
    rest = [list(each.queue) for each in tasks]
    looks: list[Look] = []
    while any(rest):
        worth = [sum(gain for _, gain in each[:at_once]) for each in rest]
        place = int(np.argmax(worth))
        looks += [(place, name) for name, _ in rest[place][:at_once]]
        rest[place] = rest[place][at_once:]
    return looks


def through(tasks: Sequence[Task]) -> list[Look]:
    """Return looks through all photos, once all spots are done."""
    return [(place, "") for place, each in enumerate(tasks) if each.said[""]]


def in_reading_order(tasks: Sequence[Task]) -> list[Look]:
    """Return looks at all detections photo by photo, from top to bottom; then at the misses."""
    looks: list[Look] = []
    for place, each in enumerate(tasks):
        names = [name for name, _ in each.queue]
        looks += sorted(((place, n) for n in names), key=lambda s: (s[1][0] == "m", int(s[1][1:])))
    return looks


def report(tasks: Sequence[Task]) -> str:
    """Return the table."""
    rng = np.random.default_rng(SEED)
    spots = [(place, name) for place, each in enumerate(tasks) for name, _ in each.queue]
    own = [(place, name) for place, name in spots if name.startswith("t")]
    missed = [(place, name) for place, name in spots if name.startswith("m")]
    rest = through(tasks)
    ways: dict[str, list[list[Look]]] = {
        "the queue, spot by spot": [by_queue(tasks, 1) + rest],
        "the queue, ten spots of a photo at a time": [by_queue(tasks, 10) + rest],
        "random order of the same spots": [
            [spots[at] for at in rng.permutation(len(spots))] + rest for _ in range(SHUFFLES)
        ],
        "random order of detections, then the listed misses": [
            [own[at] for at in rng.permutation(len(own))] + missed + rest for _ in range(SHUFFLES)
        ],
        "photo by photo, from top to bottom": [in_reading_order(tasks) + rest],
    }
    rows = [
        "| order | looks until errors are 2 % | looks until the sum is within 2 % "
        "| errors after 50, 100, 200 looks |",
        "|---|---|---|---|",
    ]
    for name, tries in ways.items():
        both = [errors_after(tasks, looks) for looks in tries]
        each, total = (np.median([first_within(one[part]) for one in both]) for part in range(2))
        after = [
            np.median([one[0][min(n, len(one[0]) - 1)] for one in both]) for n in (50, 100, 200)
        ]
        shown = ", ".join(f"{100 * error:.1f} %" for error in after)
        rows.append(f"| {name} | {each:.0f} | {total:.0f} | {shown} |")
    return "\n".join([*rows, "", *_facts(tasks)])


def _missed(one: Task, listed: bool) -> int:
    """Return how many spores were missed that the second look lists, or does not."""
    names = [name for name in one.said if name.startswith("m")] if listed else [""]
    made = [action.made[0]["state"] for name in names for action in one.said[name]]
    return sum(state in SPORE_STATES for state in made)


def _facts(tasks: Sequence[Task]) -> list[str]:
    spores = sum(each.spores for each in tasks)
    counted = [int(each.one.counted.summary["spores"]) for each in tasks]
    apart = sum(abs(c - each.spores) for c, each in zip(counted, tasks))
    listed, beyond = (sum(_missed(each, wanted) for each in tasks) for wanted in (True, False))
    spots = sum(len(each.queue) for each in tasks)
    facts = [
        f"{len(tasks)} photos, {spores} spores, {spots} spots in the queues; counted "
        f"{sum(counted)}, errors {apart} ({100 * apart / spores:.1f} %).",
        f"Of {listed + beyond} spores that were missed, a second look lists {listed} "
        f"({100 * listed / max(listed + beyond, 1):.0f} %).",
        "",
        "| gain said | looks | changed the number of spores |",
        "|---|---|---|",
    ]
    said, real = [], []
    for each in tasks:
        each.ledger = Ledger(each.one.counted.detections)
        open_spots(each.ledger.rows, each.second, each.one.um_per_px)
        for name, gain in each.queue:
            before = each.counted
            for action in each.said.get(name, []):
                each.ledger.do(action)
            said.append(gain)
            real.append(abs(each.counted - before))
    gains, changes = np.array(said), np.array(real)
    for low, high in ((0.0, 0.02), (0.02, 0.05), (0.05, 0.1), (0.1, 0.2), (0.2, 0.35), (0.35, 1.0)):
        chosen = (gains >= low) & (gains < high)
        if chosen.any():
            facts.append(
                f"| {low:.2f} to {high:.2f}, mean {gains[chosen].mean():.2f} "
                f"| {chosen.sum()} | {changes[chosen].mean():.2f} |"
            )
    return facts


def settled_facts(tasks: Sequence[Task], risk: float = 0.05) -> str:
    """Follow each photo's queue until its class is settled; say how often it is the true one."""
    rates = load_rates()
    looks, right, at_once, never, all_spots, once_right = [], [], 0, 0, [], []
    for each in tasks:
        each.ledger = Ledger(each.one.counted.detections)
        skipped: set[str] = set()
        for number in range(len(each.queue) + 1):
            spots = open_spots(each.ledger.rows, each.second, each.one.um_per_px, skipped)
            now = settled([spots], rates, risk=risk)
            if now.is_settled or number == len(each.queue):
                break
            name = each.queue[number][0]
            skipped.add(name)
            for action in each.said.get(name, []):
                each.ledger.do(action)
        if not now.is_settled:
            never += 1
            continue
        is_right = now.load_class == load_class(each.spores)
        looks.append(number)
        right.append(is_right)
        all_spots.append(len(each.queue))
        if number == 0:
            at_once += 1
            once_right.append(is_right)
    return (
        f"Class settled (risk {risk:.0%}): {at_once} of {len(tasks)} photos before any look "
        f"({sum(once_right)} with the true class), {len(looks) - at_once} more after "
        f"{np.median([n for n in looks if n] or [0]):.0f} looks (median; of "
        f"{np.median([m for n, m in zip(looks, all_spots) if n] or [0]):.0f} spots); "
        f"{sum(right)} of {len(right)} settled ones are of the true class; {never} never settle "
        "by the list alone."
    )


def main() -> None:
    """Draw, review, print."""
    given = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    given.add_argument("--photos", type=int, default=20)
    given.add_argument("--size", type=int, nargs=2, default=(1200, 900))
    options = given.parse_args()
    conditions = [name for name in CONDITIONS if name not in RUINED]
    tasks: list[Task] = []
    seed = 0
    while len(tasks) < options.photos:
        made = task(conditions[seed % len(conditions)], seed, tuple(options.size))
        seed += 1
        if made is not None:
            tasks.append(made)
    print(report(tasks))
    print(settled_facts(tasks))


if __name__ == "__main__":
    main()
