"""The mean of networks that were taught one from the other.

Teaching that goes on from given weights ends near them. The mean of both ends is often better
on pictures that neither saw than each of them [izmailov2018], and costs nothing when it is run.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import torch

from sporecount.errors import SettingsError


def write_mean(taught: Sequence[Path], target: Path) -> None:
    """Write the mean of the weights of several networks of one shape.

    Parameters
    ----------
    taught : sequence of Path
        Weights as teaching writes them, the last taught at the end: what is not a weight is
        taken from that.
    target : Path
        File to write.

    Raises
    ------
    SettingsError
        Where the networks are not of one shape.
    """
    states = [torch.load(file, map_location="cpu") for file in taught]
    last = states[-1]
    for file, state in zip(taught, states):
        if state["shape"] != last["shape"]:
            raise SettingsError(
                f"{file.name} beside {taught[-1].name}",
                "the networks are of different shapes",
                "give networks that were taught one from the other",
            )
    model = {
        name: torch.stack([state["model"][name] for state in states]).mean(dim=0)
        if value.is_floating_point()
        else value
        for name, value in last["model"].items()
    }
    torch.save({**last, "model": model}, target)
