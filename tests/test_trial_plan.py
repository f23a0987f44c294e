"""The trial file: what is written is read again, and what is wrong is named by its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from sporecount.errors import SettingsError
from sporecount.trial.arm import AGENTS, Arm
from sporecount.trial.errors import TrialFileError
from sporecount.trial.plan import Trial
from sporecount.trial.plan_file import parse_trial, read_trial, trial_text, write_trial

CONTROLS = (Arm("untreated", "untreated", "none"), Arm("tap", "water", "water"))
BLEACH = Arm(
    "bleach", "treated", "hypochlorite", label_strength_pct=6.0, dilution="1 + 19", seconds=300.0
)
HEAD = 'name = "x"\n'
ARM = '[[arms]]\nname = "a"\n'


def test_a_trial_survives_the_way_through_a_file(tmp_path: Path) -> None:
    lamp = Arm("lämp", "treated", "uv-c", 'the "old" one', watts=15.0, distance_cm=10.5, note="#1")
    trial = Trial(
        'May "two"',
        (*CONTROLS, BLEACH, lamp),
        date="2026-05-02",
        control="untreated",
        slides_per_arm=5,
        taken_apart=True,
        sheet="my sheet.csv",
    )
    write_trial(tmp_path / "t.toml", trial)
    assert read_trial(tmp_path / "t.toml") == trial


def test_every_key_of_the_file_is_explained_to_its_reader() -> None:
    blocks = trial_text(Trial("May", CONTROLS)).split("[[arms]]")[0].split("\n\n")
    unexplained = [block for block in blocks if "=" in block and not block.startswith("#")]
    assert unexplained == ['name = "May"']


def test_a_file_written_by_a_plain_editor_is_read(tmp_path: Path) -> None:
    text = HEAD + "date = 2026-05-02\r\n[[arms]]\r\nname='tap'\r\nagent='water'\r\n"
    (tmp_path / "t.toml").write_bytes(b"\xef\xbb\xbf" + text.encode())
    trial = read_trial(tmp_path / "t.toml")
    assert trial.date == "2026-05-02"
    assert trial.arms[0].role == "water"  # said by the agent


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name = x", "it is no TOML"),
        ("date = 1\n" + ARM, "trial, line 1, date = 1: it is text"),
        (ARM, 'trial: the key "name" is missing'),
        (HEAD, "arms: there is none"),
        (HEAD + "alpha = 2\n" + ARM, "line 2, alpha 2: it lies between 0 and 0.5"),
        (HEAD + "date = '2. May'\n" + ARM, "line 2, date '2. May': it is no date"),
        (HEAD + "slides = 4\n" + ARM, 'line 2, slides: there is no such key. Write "slides_per'),
        (HEAD + "seconds = 4\n" + ARM, "line 2, seconds: there is no such key. It belongs below"),
        (HEAD + "taken_apart = 1\n" + ARM, "line 2, taken_apart = 1: it is true or false"),
        (HEAD + "[[arm]]\nname = 'a'", "there is no such key. Write [[arms]]"),
        (HEAD + "[arms]\nname = 'a'", "the arms are tables. Write [[arms]]"),
        (HEAD + "[[arms]]\nrole = 'treated'", 'line 2, arm 1: the key "name" is missing'),
        (HEAD + ARM + "role = 'trated'", "line 4, role 'trated': there is no such role. Write \"t"),
        (HEAD + ARM + "agent = 'bleach'", "Known are: none, water, hypochlorite, uv-c, spray"),
        (HEAD + ARM + "label_strength = 6", 'no such key. Write "label_strength_pct"'),
        (HEAD + ARM + "seconds = '5 min'", "line 4, seconds = '5 min': it is a number"),
        (HEAD + ARM + "seconds = 0", "line 4, seconds 0: it is above 0"),
        (HEAD + ARM + "seconds = nan", "line 4, seconds nan: it is above 0"),
        (HEAD + ARM + "[[arms]]\nname='b'\ndilution='1:20'", "line 6, dilution, strength '1:20'"),
        (HEAD + ARM + "dilution='300ppm'", "it is a strength and no dilution"),
        (HEAD + ARM + "dilution='1+9'\nwanted_pct=1", "both say how strong"),
        (HEAD + ARM + "label_strength_pct=6\nwanted_pct=7", "the product itself has only 60000"),
        (HEAD + ARM + "label_strength_pct=600", "line 4, label_strength_pct 600: it is a perc"),
        (HEAD + ARM + "role='water'\nagent='spray'", "the water control has the agent 'water'"),
        (HEAD + ARM + "role='treated'\nagent='none'", 'that is a control. Write role = "untrea'),
        (HEAD + ARM + "[[arms]]\nname='A'", "two arms have the same name"),
        (HEAD + ARM + "agent='water'\n[[arms]]\nname='b'\nagent='water'", "both have the role"),
        (HEAD + "control='water'\n" + ARM, "line 2, control 'water': no arm has that role"),
    ],
)
def test_what_is_wrong_is_said_with_its_line(text: str, said: str) -> None:
    with pytest.raises(TrialFileError) as caught:
        parse_trial(text)
    assert said in str(caught.value)
    assert isinstance(caught.value, SettingsError)  # wrong use, on the command line


def test_a_file_that_is_not_there_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(TrialFileError, match="sporecount trial new"):
        read_trial(tmp_path / "none.toml")


def test_water_is_the_control_where_there_is_water() -> None:
    assert Trial("x", (*CONTROLS, BLEACH)).control == "water"
    assert Trial("x", (CONTROLS[0], BLEACH)).control == "untreated"
    chosen = Trial("x", (*CONTROLS, BLEACH), control="untreated").control_arm
    assert chosen is not None
    assert chosen.name == "untreated"


def test_a_trial_without_a_control_is_read_and_says_so() -> None:
    trial = Trial("x", (BLEACH,))
    assert trial.control_arm is None
    assert trial.remarks()[0].startswith("There is no control")


def test_remarks_name_what_others_would_need() -> None:
    bare = Arm("bare", "treated", "hypochlorite")
    said = Trial("x", (*CONTROLS, bare)).remarks()
    assert len(said) == 1
    assert all(key in said[0] for key in ("seconds", "label_strength_pct", "dilution"))
    assert Trial("x", (*CONTROLS, BLEACH)).remarks() == ()


def test_arms_are_found_without_regard_to_case_and_spaces() -> None:
    trial = Trial("x", (Arm("Bleach  5 min"), *CONTROLS))
    assert trial.arm(" bleach 5 MIN").name == "Bleach  5 min"
    with pytest.raises(TrialFileError, match='Write "tap"'):
        trial.arm("tapp")


def test_the_bath_of_an_arm_is_worked_out() -> None:
    # 5 mL of 6 % in 100 mL: 0.3 %, C1 V1 = C2 V2 (check by hand).
    bath = BLEACH.bath()
    assert bath is not None
    assert bath.active_percent == pytest.approx(0.3)
    by_percent = Arm("b", "treated", "hypochlorite", label_strength_pct=6.0, wanted_pct=0.3).bath()
    assert by_percent is not None
    assert by_percent.product_ml == pytest.approx(bath.product_ml)
    # One in 20 is not one to 20: 1 + 20 is weaker.
    weaker = Arm("b", "treated", "hypochlorite", label_strength_pct=6.0, dilution="1 + 20").bath()
    assert weaker is not None
    assert weaker.active_percent < bath.active_percent


@pytest.mark.parametrize("agent", AGENTS)
def test_every_agent_has_words(agent: str) -> None:
    role = {"none": "untreated", "water": "water"}.get(agent, "treated")
    assert Arm("a", role, agent).in_words()
