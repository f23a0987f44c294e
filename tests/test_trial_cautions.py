"""What to beware of with each agent."""

from __future__ import annotations

import pytest

from sporecount.bath.cautions import CAUTIONS
from sporecount.trial.arm import AGENTS
from sporecount.trial.cautions import ALWAYS, cautions_for


@pytest.mark.parametrize(
    ("agent", "words"),
    [
        ("hypochlorite", ("ammonia", "acids", "window", "gloves", "eye", "fresh")),
        ("uv-c", ("eyes", "skin", "never look", "ozone", "closed box", "switch")),
        ("spray", ("label", "animals", "window", "bleach")),
        ("other", ("label", "ventilation", "animals")),
    ],
)
def test_each_agent_has_its_dangers_and_defers_to_label_and_rules(
    agent: str, words: tuple[str, ...]
) -> None:
    text = " ".join(cautions_for(agent))
    assert [word for word in words if word not in text] == []
    assert cautions_for(agent)[-1] == ALWAYS[0]
    assert "local rules and licensed practice" in text


def test_bleach_has_the_cautions_of_the_egg_bath() -> None:
    assert cautions_for("hypochlorite")[:5] == CAUTIONS[:5]


def test_controls_need_none_and_no_agent_is_without() -> None:
    assert cautions_for("none") == cautions_for("water") == ()
    assert all(cautions_for(agent) for agent in AGENTS if agent not in ("none", "water"))
    assert cautions_for("vinegar") == cautions_for("other")
