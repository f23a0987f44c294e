"""Every sentence of advice, in one place.

Rules for these texts: they inform and never order; nothing here says that an animal has to
be killed, or that it has to be released; the local programme, licensed practice and the law
come first; sources that conflict are shown as conflicting.
"""

from __future__ import annotations

CLEAR = "clear"
HOLD = "hold and sample again"
LIGHT = "light load"
HEAVY = "heavily infected"

#: Every outcome, from the lightest to the heaviest; HOLD is "not settled".
OUTCOMES: tuple[str, ...] = (CLEAR, HOLD, LIGHT, HEAVY)

#: What an outcome means. Filled in with numbers by sporecount.decision.decide.
MEANING: dict[str, str] = {
    CLEAR: "The chance of a load above class {release} is {heavier}, within the risk chosen "
    "({risk}).",
    HOLD: "What was seen does not settle it: {why}.",
    LIGHT: "Spores are there, at a load below class {heavy}: class {classes} (chance {right}).",
    HEAVY: "The chance of a load below class {heavy} is {lighter}, within the risk chosen "
    "({risk}).",
}

#: What "hold" means where the chances are good enough, but rest on too few photos.
HOLD_FEW = (
    "So far it looks like class {classes} (chance {right}), but that rests on {seen} alone. Spores "
    "lie in patches, so it is settled only after at least {least} photos from different places."
)

#: What is usually done, by outcome: choices, not orders.
CHOICES: dict[str, tuple[str, ...]] = {
    CLEAR: (
        "Many programmes let such an adult go; yours decides.",
        "Where the line is new or has had infections, some take a second tape first.",
    ),
    HOLD: (
        "Keep the adult apart from the others until it is settled.",
        "Take more photos of the same tape, from other parts of it.",
        "Or press a fresh tape and score that; a second tape is a sample of its own.",
    ),
    LIGHT: (
        "Keep the adult apart, and take a fresh tape after some days.",
        "Some programmes release light loads if the rearing was clean, others keep every positive "
        "adult back: sources differ, and the programme's rule wins.",
    ),
    HEAVY: (
        "Keep the adult apart from clean stock, and do not breed from it.",
        "What happens to such an adult differs between programmes: some keep it indoors for life "
        "and apart, some end its life humanely, some ask for it as a sample. This program does not "
        "choose; ask your programme.",
        "Look for the source: adults of the same brood, cages, food plant.",
    ),
}

#: True for classes 1-3 [deroode2009].
CONTACT = (
    "Spores of classes 1-3 may have come by contact (mating, a shared cage, hands) and need not be "
    "the adult's own infection."
)
CLASS_3 = (
    "Class 3 is uncertain: two public laboratory data sets call classes 1-2 not infected and 4-5 "
    "infected, and class 3 occurs in neither."
)
RELEASE_RULE = (
    "Releasing adults of classes 1 to {release} is a choice set by you, not by this program."
)
MORE = "About {photos} of the same size would settle it, if the tape goes on like this."
MORE_CLEAN = "About {photos} of the same size would settle it, if all of it stays clean too."
NO_MORE = "More photos of this tape would not settle it: press a fresh tape."
FALSE_ONES = (
    "Look at the marked copies first: detections may be false, and a person sees that at once."
)

#: Said with every outcome.
CAUTIONS: tuple[str, ...] = (
    "A tape takes up only part of what is on the abdomen: a clear tape is not proof of a clean "
    "butterfly.",
    "Your local programme's rule comes before this text, and so do the law and licensed practice. "
    "Releasing, moving and destroying butterflies are regulated in many places: ask the authority.",
    "This informs a decision and does not make it: a person decides.",
)
