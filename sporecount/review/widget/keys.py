"""What can be done by a key: one list, from which keys are bound and buttons are labelled."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Deed:
    """One thing to do.

    Attributes
    ----------
    name : str
        Of the method that does it.
    key : str
        As the window system takes it.
    words : str
        On its button.
    tip : str
        What it does, as a sentence.
    """

    name: str
    key: str
    words: str
    tip: str

    @property
    def label(self) -> str:
        """Words and key, as on the button.

        Examples
        --------
        >>> Deed("undo", "Control-Z", "Undo", "").label
        'Undo  [Ctrl+Z]'
        """
        return f"{self.words}  [{shown_key(self.key)}]"


def shown_key(key: str) -> str:
    """Return a key as it is written for people."""
    return key.replace("Control-", "Ctrl+").replace("Shift-", "Shift+")


#: What is done with what is selected.
JUDGE = (
    Deed("confirm", "C", "Right", "Agree with what is selected."),
    Deed("reject", "X", "No spore", "Say that what is selected is no spore and no fragment."),
    Deed("intact", "I", "Intact", "Say that what is selected is an intact spore."),
    Deed("damaged", "D", "Damaged", "Say that what is selected is a damaged spore."),
    Deed("fragment", "F", "Fragment", "Say that what is selected is a fragment, no spore."),
)
#: What changes which detections there are.
SHAPE = (
    Deed("add", "A", "Add here", "Add a missed spore under the mouse: its outline grows."),
    Deed("draw", "O", "Draw outline", "Draw the outline of a missed spore with the mouse."),
    Deed("part", "P", "Part in two", "Say that what is selected is two spores."),
    Deed("join", "J", "Join", "Say that all that is selected is one spore."),
)
#: Going on, and going back.
MOVE = (
    Deed("look_next", "N", "Look next", "Go to where a look is worth most."),
    Deed("undo", "Control-Z", "Undo", "Take back the last action; as often as you like."),
    Deed("redo", "Control-Y", "Redo", "Do again what was taken back."),
    Deed("hide", "H", "Hide outlines", "Show the photo alone, or the outlines again."),
    Deed("whole", "W", "Whole", "Show the whole photo."),
)
#: From photo to photo.
PHOTOS = (
    Deed("previous_photo", "B", "Photo before", "Open the photo before this one."),
    Deed("next_photo", "M", "Photo after", "Open the photo after this one."),
    Deed("finish", "E", "All looked through", "Say that you looked through the whole photo."),
)
DEEDS = (*JUDGE, *SHAPE, *MOVE, *PHOTOS)

#: Keys that do what another does.
SECOND_KEYS = {"redo": ("Control-Shift-Z",), "reject": ("Delete",)}

#: What the mouse does.
MOUSE = "Click selects, Shift and click selects one more; drag moves, the wheel zooms."

#: What the outlines say.
LINES = (
    "Outlines: blue and unbroken is intact, yellow dashes damaged, white dots a fragment; thick "
    "is judged by you, a cross rejected, pink selected."
)
