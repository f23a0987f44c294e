"""All kinds of clutter by name, and the one call that draws any of them."""

from __future__ import annotations

import numpy as np

from sporecount.errors import SettingsError
from sporecount.render.clutter import (
    crystal,
    cuticle,
    fibres,
    litter_cell,
    litter_chip,
    litter_cluster,
    litter_dot,
    litter_ghost,
    litter_grain,
    litter_lens,
    litter_noise,
    litter_pair,
    litter_relief,
    litter_rod,
    litter_rosette,
    litter_rust,
    litter_septate,
    litter_shape,
    litter_texture,
    mould,
    scales,
)
from sporecount.render.clutter import round as round_things
from sporecount.render.clutter.kind import ClutterKind
from sporecount.render.clutter.lookalike import looks_like_plain_spore, looks_like_spore
from sporecount.render.drawn import Drawn

_FILES = (
    scales,
    fibres,
    round_things,
    crystal,
    cuticle,
    mould,
    litter_noise,
    litter_shape,
    litter_cluster,
    litter_texture,
    litter_cell,
    litter_rod,
    litter_chip,
    litter_ghost,
    litter_relief,
    litter_rosette,
    litter_septate,
    litter_rust,
    litter_dot,
    litter_grain,
    litter_lens,
    litter_pair,
)

#: Every kind by its name.
KINDS: dict[str, ClutterKind] = {kind.name: kind for module in _FILES for kind in module.KINDS}

#: Every family, in the order of their files.
FAMILIES: tuple[str, ...] = tuple(dict.fromkeys(kind.family for kind in KINDS.values()))

#: Draws after which the last one is taken as it is.
MOST_DRAWS = 25


def draw_clutter(rng: np.random.Generator, um_per_px: float, kind: str) -> Drawn:
    """Draw one object that is not a spore.

    Parameters
    ----------
    rng : Generator
        Source of all that varies; the same state gives the same picture.
    um_per_px : float
        Scale of the picture, above 0.
    kind : str
        A key of ``KINDS``.

    Returns
    -------
    Drawn
        Density of shape (rows, columns, 3), 0 along the border.

    Raises
    ------
    SettingsError
        For an unknown kind, or a scale that is not above 0.

    Examples
    --------
    >>> drawn = draw_clutter(np.random.default_rng(1), 0.6, "crescent")
    >>> drawn.kind, drawn.density.shape[2], str(drawn.density.dtype)
    ('crescent', 3, 'float32')
    """
    if kind not in KINDS:
        raise SettingsError(
            f"clutter kind {kind!r}", "there is no such kind", f"take one of {', '.join(KINDS)}"
        )
    if not um_per_px > 0:
        raise SettingsError(
            f"scale {um_per_px} um per pixel", "a scale is larger than 0", "give um per pixel"
        )
    for _ in range(MOST_DRAWS):
        density, centre_px = KINDS[kind].draw(rng, um_per_px)
        told = um_per_px <= KINDS[kind].told_um_per_px
        like = looks_like_plain_spore if told else looks_like_spore
        if not like(density, um_per_px):
            break
    return Drawn(density, centre_px, kind)
