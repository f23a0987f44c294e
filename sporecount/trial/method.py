"""How a trial is judged, in words, with sources."""

from __future__ import annotations

from sporecount.trial.compare.comparison import METHOD
from sporecount.trial.misread import MisreadRates
from sporecount.trial.plan import Trial

#: Keys of docs/bibliography.md for the methods, in the order in which they are used.
SOURCES = (
    "rogangladen1978",
    "donner1989",
    "holm1979",
    "abbott1925",
    "schuirmann1987",
    "hendersontilton1955",
    "newcombe1998b",
    "mantel1963",
    "sato1989",
    "hanley1983",
    "morita2002",
)


#: How followed spores were judged.
FOLLOWED_METHOD = (
    "Followed spores: photos before and after are laid on each other by litter, which treatment "
    "leaves alone; a pair that is not certain is left out. Spores are paired one to one, most "
    "pairs first, then least total distance. A spore without partner is in pieces where new pieces "
    "lie about its place, gone where its place is empty, and else not matched. Shares are means of "
    "slides, as above; spores mistaken for damaged, or for whole, are allowed for, those the "
    "detector misses as far as the control's own losses show them."
)


def method_words(
    plan: Trial, rates: MisreadRates | None, *, followed: bool = False
) -> tuple[str, ...]:
    """Return how a trial was judged, in sentences."""
    lines = [
        "The slide is the unit, not the spore: spores of one slide shared one drop, tape and hand.",
        "Broken share: damaged spores and pieces, over these and intact spores; pieces count as "
        "spores by their area, and the limits reach from a fifth less up to each piece being a "
        "spore of its own.",
        f"Arm against control: {METHOD} [donner1989]. Several arms are adjusted for after Holm "
        "[holm1979]; the share that the agent broke of those whole without it is Abbott's "
        "[abbott1925]; no visible breakage is shown by two one-sided tests [schuirmann1987].",
        "Whole spores per mm2: ratio of the arms' means, limits on the logarithm with Student's t.",
        "Eggs: non-inferiority with a margin of "
        f"{100 * plan.egg_margin:.0f} percentage points. Feeding test: exact limits and Fisher's "
        "exact test.",
    ]
    if rates is not None:
        lines.insert(
            2,
            f"Of damaged spores the detector calls {100 * rates.sensitivity:.0f} % damaged, of "
            f"intact ones {100 * rates.specificity:.0f} % intact (measured on "
            f"{rates.measured_on or 'reviewed detections'}). Shares are corrected for that, for "
            "missed ones and for false ones [rogangladen1978], and the limits allow for doubt "
            "about these rates. The test itself is made on what was seen.",
        )
    return (*lines, FOLLOWED_METHOD) if followed else tuple(lines)
