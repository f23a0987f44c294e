"""What to beware of with each agent. It informs; the label and local rules come first."""

from __future__ import annotations

from sporecount.bath.cautions import CAUTIONS as WITH_BLEACH

#: Said with every agent.
ALWAYS = ("The product's label, local rules and licensed practice come before what is said here.",)

_HYPOCHLORITE = WITH_BLEACH[:-1]

_UV_C = (
    "UV-C burns eyes and skin within seconds to minutes, and it is felt only hours later: "
    "never look at the lamp, and never let it shine on skin, people or animals.",
    "Run the lamp only in a closed box that no light leaves, with a switch that cuts it off when "
    "the box is opened.",
    "Some lamps make ozone: air the room and leave it. A broken lamp can set mercury free: leave, "
    "air, and follow the rules of your place for such waste.",
    "UV-C makes plastic brittle, and it does not reach into shade: what lies under a scale or a "
    "leaf gets none.",
)

_SPRAY = (
    "Read the label, and use the product only for what it names, with its gloves, "
    "eye protection, contact time and rinse.",
    "Keep it away from animals, food plants and caterpillars until everything is rinsed and dry; "
    "what is left on a leaf is eaten.",
    "Open a window, and do not breathe the mist. Keep it away from flames.",
    "Never use it together with bleach or another cleaner.",
)

_OTHER = (
    "Read the label or the safety data sheet before use: gloves, eyes, ventilation, what it must "
    "not be mixed with.",
    "Keep it away from children, animals and food plants.",
)

BY_AGENT: dict[str, tuple[str, ...]] = {
    "hypochlorite": _HYPOCHLORITE,
    "uv-c": _UV_C,
    "spray": _SPRAY,
    "other": _OTHER,
}


def cautions_for(agent: str) -> tuple[str, ...]:
    """Return the cautions with an agent, the most pressing first.

    Parameters
    ----------
    agent : str
        One of :data:`sporecount.trial.arm.AGENTS`.

    Returns
    -------
    tuple of str
        Empty for controls; for an agent that is not known, those of ``"other"``.

    Examples
    --------
    >>> cautions_for("uv-c")[0][:31]
    'UV-C burns eyes and skin within'
    >>> cautions_for("water")
    ()
    """
    if agent in ("none", "water"):
        return ()
    return (*BY_AGENT.get(agent, _OTHER), *ALWAYS)
