"""What can't be known of an arm, in words."""

from __future__ import annotations

from sporecount.statistics.mean_share import LIKENESS_IF_UNKNOWN, Clusters

#: Shares of slides and of spores that lie further apart are told.
_APART = 0.05

NO_CONTROL = "no control to compare with: the share is described, and no effect can be known"


def notes_on(name: str, slides: Clusters, without_spores: int) -> tuple[str, ...]:
    """Return what the slides of an arm cannot tell."""
    notes = []
    if without_spores:
        notes.append(f"{name}: {_slides(without_spores)} without spores left out")
    if slides.number == 0:
        notes.append(f"{name}: no spores on any slide, so nothing is known of their breakage")
    elif slides.number == 1:
        notes.append(
            f"{name}: one slide only, so how much slides differ is not known; it is described, "
            "and cannot be tested"
        )
    elif slides.number == 2:
        notes.append(
            f"{name}: two slides hardly tell how much slides differ, so limits are very wide, "
            "and only a third slide would show whether the two were lucky"
        )
    if slides.number > 1 and _all_alike(slides):
        notes.append(
            f"{name}: no spore differs from the others, so how alike spores of one slide are "
            f"is told by other arms or taken to be {LIKENESS_IF_UNKNOWN:g}"
        )
    if slides.number > 1 and abs(float(slides.share) - _of_all_spores(slides)) > _APART:
        notes.append(
            f"{name}: slides have very unequal numbers of spores; each counts the same, which "
            f"makes {float(slides.share):.0%} broken, and of all spores together "
            f"{_of_all_spores(slides):.0%} are"
        )
    return tuple(notes)


def _of_all_spores(slides: Clusters) -> float:
    return float(slides.events.sum() / slides.sizes.sum())


def _all_alike(slides: Clusters) -> bool:
    return _of_all_spores(slides) in (0.0, 1.0)


def _slides(number: int) -> str:
    return f"{number} slide" + ("" if number == 1 else "s")
