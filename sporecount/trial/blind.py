"""Slides under random codes, so that nobody knows which arm they look at.

A code is three letters that are easy to write on glass: no vowels, so that they spell
nothing, and none that is taken for another by sight or when the slide lies the wrong way up.
Any two codes of a trial differ in at least two letters: one that is misread stands for no
other slide.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from sporecount.errors import SheetError
from sporecount.report.tables import csv_text
from sporecount.trial.errors import TrialError
from sporecount.trial.table_file import read_rows

#: Letters of the codes: no vowel, nothing like 0 1 2 5 6 8, nor like another one turned.
LETTERS = "CFHJKNPRTX"

#: Most slides of a trial: codes that differ from each other in two letters.
MOST_SLIDES = len(LETTERS) ** 2

#: Columns of the key, in order.
KEY_COLUMNS = ("code", "arm", "slide", "prepare")


@dataclass(frozen=True)
class KeyRow:
    """What one code stands for.

    Attributes
    ----------
    code : str
        What is written on the slide.
    arm : str
        What is done to it.
    slide : str
        Its name in results.
    prepare : int
        When it is prepared: first is 1.
    """

    code: str
    arm: str
    slide: str
    prepare: int = 0


def deal(arms: Sequence[str], slides_per_arm: int, seed: int | None = None) -> tuple[KeyRow, ...]:
    """Deal codes to the slides of a trial, and an order in which to prepare them.

    The order goes in rounds in which each arm comes once, shuffled: what changes in the
    course of the day is then spread over all arms.

    Parameters
    ----------
    arms : sequence of str
        Their names.
    slides_per_arm : int
        Slides of each.
    seed : int, optional
        For the same deal again; by default the deal cannot be foretold.

    Returns
    -------
    tuple of KeyRow
        In the order of preparing.

    Raises
    ------
    TrialError
        If there are more slides than codes, or none.

    Examples
    --------
    >>> [sorted(row.arm for row in deal(["a", "b"], 2, seed=1)[n : n + 2]) for n in (0, 2)]
    [['a', 'b'], ['a', 'b']]
    """
    slides = len(arms) * slides_per_arm
    if not 1 <= slides <= MOST_SLIDES:
        raise TrialError(
            f"{len(arms)} arms with {slides_per_arm} slides",
            f"a trial has 1 to {MOST_SLIDES} slides",
            "plan fewer slides, or several trials",
        )
    draw: random.Random = random.SystemRandom() if seed is None else random.Random(seed)
    codes = draw.sample(_all_codes(draw), slides)
    rows = []
    for turn in range(1, slides_per_arm + 1):
        order = list(arms)
        draw.shuffle(order)
        rows += [
            KeyRow(codes.pop(), arm, f"{arm} {turn}", (turn - 1) * len(arms) + place)
            for place, arm in enumerate(order, 1)
        ]
    return tuple(rows)


def _all_codes(draw: random.Random) -> list[str]:
    """Return every pair of letters with a third that differs for each neighbour."""
    first, second, third = (draw.sample(LETTERS, len(LETTERS)) for _ in range(3))
    most = len(LETTERS)
    return [first[a] + second[b] + third[(a + b) % most] for a in range(most) for b in range(most)]


def key_csv(key: Iterable[KeyRow]) -> str:
    """Return the key as CSV, columns :data:`KEY_COLUMNS`."""
    return csv_text(KEY_COLUMNS, ([row.code, row.arm, row.slide, row.prepare] for row in key))


def read_key(path: str | Path) -> tuple[KeyRow, ...]:
    """Read a key.

    Parameters
    ----------
    path : str or Path
        CSV with the columns ``code``, ``arm``, ``slide``; ``prepare`` may be missing.

    Raises
    ------
    SheetError
        If a column or a cell is missing, or a code or a slide is there twice.
    """
    name = Path(path).name
    rows = []
    for line, cells in read_rows(path, ("code", "arm", "slide")):
        for column in ("code", "arm", "slide"):
            if not cells[column]:
                raise SheetError(
                    f"{name}, row {line}", f"there is no {column}", "give each slide all three"
                )
        turn = cells.get("prepare", "")
        rows.append(
            KeyRow(
                plain_code(cells["code"]),
                cells["arm"],
                cells["slide"],
                int(turn) if turn.isascii() and turn.isdigit() else 0,
            )
        )
    for what, values in (
        ("code", [row.code for row in rows]),
        ("slide", [f"{row.slide} of arm {row.arm}" for row in rows]),
    ):
        again = [value for value, times in Counter(values).items() if times > 1]
        if again:
            raise SheetError(
                f"{name}, {what} {again[0]}", "it is there twice", f"give each slide its {what}"
            )
    return tuple(rows)


def decode(code: str, key: Sequence[KeyRow], where: str = "sheet") -> KeyRow:
    """Return what a code stands for, without regard to case and spaces.

    Raises
    ------
    SheetError
        If the key has no such code.

    Examples
    --------
    >>> decode(" kxt", [KeyRow("KXT", "water", "water 1")]).slide
    'water 1'
    """
    plain = plain_code(code)
    for row in key:
        if row.code == plain:
            return row
    near = [row.code for row in key if _differ(row.code, plain) == 1]
    raise SheetError(
        f"{where}, slide {code!r}",
        "the key has no such code",
        f"look at the glass again: is it {' or '.join(near)}"
        if near
        else "look at the glass again, and whether it is the key of this trial",
    )


def _differ(one: str, other: str) -> int:
    """Return in how many letters two codes differ."""
    return abs(len(one) - len(other)) + sum(a != b for a, b in zip(one, other))


def plain_code(code: str) -> str:
    """Return a code as it is compared: capitals without spaces."""
    return "".join(code.split()).upper()
