"""Count the spores of *Ophryocystis elektroscirrha* on photos of tape samples.

>>> import sporecount
>>> sporecount.Calibration(um_per_px=0.65, source="given").um_per_px
0.65
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sporecount.counting import Counted, count
    from sporecount.errors import SporecountError
    from sporecount.photo.read import read_photo
    from sporecount.scale.calibration import Calibration
    from sporecount.scoring import SampleScore, score
    from sporecount.settings import Settings

__version__ = "0.1.0"

#: Public name -> module that holds it, imported at first use: `import sporecount` stays quick.
_PUBLIC = {
    "Calibration": "sporecount.scale.calibration",
    "Counted": "sporecount.counting",
    "SampleScore": "sporecount.scoring",
    "Settings": "sporecount.settings",
    "SporecountError": "sporecount.errors",
    "count": "sporecount.counting",
    "read_photo": "sporecount.photo.read",
    "score": "sporecount.scoring",
}

__all__ = [
    "Calibration",
    "Counted",
    "SampleScore",
    "Settings",
    "SporecountError",
    "__version__",
    "count",
    "read_photo",
    "score",
]


def __getattr__(name: str) -> Any:
    if name not in _PUBLIC:
        raise AttributeError(f"module 'sporecount' has no attribute {name!r}")
    value = getattr(import_module(_PUBLIC[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_PUBLIC})
