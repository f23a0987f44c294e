"""From a template to one HTML text that loads nothing and runs nothing."""

from __future__ import annotations

import base64
import hashlib
from functools import lru_cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from sporecount.report.html import words

if TYPE_CHECKING:
    from jinja2 import Environment


def render(template: str, **values: Any) -> str:
    """Fill in a template.

    Every text is escaped, and letters that hide are spelled out. The page says to the
    browser that no script may run and nothing may be loaded from anywhere.

    Parameters
    ----------
    template : str
        Its file in ``templates/``.
    **values
        What the template names; one that is missing is an error.

    Returns
    -------
    str
        HTML.
    """
    from markupsafe import Markup

    style = _style()
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = (
        f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'; "
        "base-uri 'none'; form-action 'none'"
    )
    return _environment().get_template(template).render(
        style=Markup(style), policy=policy, **values
    )  # fmt: skip


def _style() -> str:
    folder = resources.files("sporecount.report.html") / "templates"
    return "\n" + (folder / "style.css").read_text("utf-8").replace("\r\n", "\n")


@lru_cache(maxsize=1)
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("sporecount.report.html", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    for filter_ in (
        words.whole,
        words.measure,
        words.chance,
        words.share,
        words.several,
        words.sentence,
        words.yes_no,
        words.known,
    ):
        environment.filters[filter_.__name__] = filter_
    return environment


def _shown(value: Any) -> Any:
    """Spell out hidden letters of texts; what is HTML already stays."""
    return words.visible(value) if type(value) is str else value
