"""`sporecount trial new` and `design`: the plan is written, told, and never over a file."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from sporecount.cli import main
from sporecount.cli.trial_commands import trial as trial_group
from sporecount.photo.folder import PhotoFile
from sporecount.trial.arm_text import parse_arm
from sporecount.trial.blind import read_key
from sporecount.trial.errors import TrialFileError
from sporecount.trial.followed.pairs import pair_fields
from sporecount.trial.plan_file import read_trial


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def run(*arguments: object) -> Result:
    done = CliRunner().invoke(main, ["trial", *map(str, arguments)])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception  # a fault, which must not pass for exit code 1
    return done


def rows(path: str) -> list[dict[str, str]]:
    with Path(path).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_a_new_trial_is_a_plan_a_sheet_and_a_key() -> None:
    done = run("new", "may.toml", "--slides", 3, "--seed", 1)
    assert done.exit_code == 0, done.output
    plan = read_trial("may.toml")
    assert [arm.name for arm in plan.arms] == [
        "untreated",
        "water",
        "hypochlorite",
        "uv-c",
        "spray",
    ]
    assert plan.control == "water"
    assert plan.slides_per_arm == 3
    key = read_key(plan.key)
    assert len(key) == 15
    sheet = rows(plan.sheet)
    assert list(sheet[0]) == ["photo", "slide", "where"]
    assert {row["slide"] for row in sheet} == {row.code for row in key}
    assert len(sheet) == 15 * plan.photos_per_slide
    assert Path(plan.photos).is_dir()


def test_neither_sheet_nor_terminal_tell_the_arm_of_a_slide() -> None:
    done = run("new", "may.toml", "--seed", 1)
    key = read_key("may-key.csv")
    assert not any(row.code in done.output for row in key)
    sheet = Path("may-photos.csv").read_text("utf-8")
    assert not any(arm in sheet for arm in ("water", "uv-c", "hypochlorite"))
    codes = list(dict.fromkeys(row["slide"] for row in rows("may-photos.csv")))
    assert codes == sorted(codes)  # not in the order of preparing


def test_a_seed_repeats_it_and_chance_does_not() -> None:
    for name, seed in (("a", 5), ("b", 5), ("c", None), ("d", None)):
        run("new", f"{name}.toml", *(["--seed", seed] if seed else []))
    text = {name: Path(f"{name}-key.csv").read_text() for name in "abcd"}
    places = {name: Path(f"{name}-photos.csv").read_text() for name in "abcd"}
    assert text["a"] == text["b"]
    assert places["a"] == places["b"]
    assert text["c"] != text["d"]


def test_fields_to_follow_are_photographed_before_and_after() -> None:
    given = ("--slides", 1, "--photos-per-slide", 3, "--follow", 2, "--seed", 1)
    done = run("new", "may.toml", *given)
    assert done.exit_code == 0, done.output
    assert "first 2 fields of each slide, of the controls too" in done.output
    sheet = rows("may-photos.csv")
    assert list(sheet[0]) == ["photo", "slide", "field", "when", "where"]
    one = [row for row in sheet if row["slide"] == sheet[0]["slide"]]
    assert [(row["field"], row["when"]) for row in one] == [
        ("1", "before"), ("1", "after"), ("2", "before"), ("2", "after"), ("", ""),
    ]  # fmt: skip
    assert one[0]["where"] == one[1]["where"]
    assert one[0]["photo"] == f"{one[0]['slide']}-1-before.jpg"
    arms = [row.name for row in read_trial("may.toml").arms]
    files = [PhotoFile(Path(row["photo"]), row["photo"]) for row in sheet]
    by_name = {row["photo"]: {**row, "row": n} for n, row in enumerate(sheet, 2)}
    pairs = pair_fields(files, by_name, arms, read_key("may-key.csv"))
    assert len(pairs) == 5 * 2
    assert all(pair.after is not None for pair in pairs)
    refused = run("new", "june.toml", "--photos-per-slide", 3, "--follow", 4)
    assert refused.exit_code == 2
    assert "more than the 3 photos" in refused.output
    assert not Path("june.toml").exists()


def test_an_open_trial_has_its_arms_in_the_sheet_and_no_key() -> None:
    done = run(
        "new", "may.toml", "--not-blind", "--arm", "water", "--arm", "soak: bleach, 1+9, 60 s"
    )
    assert done.exit_code == 0, done.output
    assert not Path("may-key.csv").exists()
    assert read_trial("may.toml").key == ""
    assert {row["arm"] for row in rows("may-photos.csv")} == {"water", "soak"}


def test_the_key_can_lie_elsewhere() -> None:
    assert run("new", "may.toml", "--key", "drawer/key.csv").exit_code == 0
    assert read_trial("may.toml").key == "drawer/key.csv"
    assert not Path("may-key.csv").exists()


@pytest.mark.parametrize("there", ["may.toml", "may-photos.csv", "may-key.csv"])
def test_nothing_is_written_over(there: str) -> None:
    Path(there).write_text("mine")
    done = run("new", "may.toml")
    assert done.exit_code == 2
    assert f"{there} is there already" in done.output
    assert len(done.output.splitlines()) == 1
    assert [path.name for path in Path().iterdir()] == [there]
    assert Path(there).read_text() == "mine"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--arm", "soak: bleech"], 'that means nothing here. Write "bleach"'),
        (["--arm", "soak: bleach, 1:20"], "people read it as 1 part in 20"),
        (["--arm", "a: spray", "--arm", "A: spray"], "two arms have the same name"),
        (["--arm", "water", "--arm", "tap: water"], "both have the role"),
        (["--slides", "50"], "a trial has 1 to 100 slides"),
        (["--base", "0.9"], "both shares lie between 0 and 1"),
        (["--slides", "0"], "--slides"),
        (["--slide", "4"], "--slides"),
        (["--seed", "x"], "--seed"),
    ],
)
def test_what_cannot_be_meant_is_one_line_and_nothing_is_written(
    arguments: list[str], said: str
) -> None:
    done = run("new", "may.toml", *arguments)
    assert done.exit_code in (2, 3)
    assert said in done.output
    assert len(done.output.splitlines()) == 1
    assert list(Path().iterdir()) == []


def test_odd_file_names_are_kept_and_quoted() -> None:
    done = run("new", "my trials/mäy 1.2.toml", "--slides", 3)
    assert done.exit_code == 0, done.output
    assert "report 'my trials/mäy 1.2.toml'" in done.output
    plan = read_trial("my trials/mäy 1.2.toml")
    assert plan.sheet == "mäy 1.2-photos.csv"
    assert Path("my trials", plan.key).exists()


def test_few_slides_are_warned_of() -> None:
    assert (
        "WARNING: with 1 slide nothing can be tested" in run("new", "a.toml", "--slides", 2).output
    )
    assert "WARNING" not in run("new", "b.toml", "--slides", 3).output


def test_what_is_missing_from_an_arm_is_named() -> None:
    done = run("new", "may.toml", "--arm", "water", "--arm", "lamp: uv-c, 15 W")
    assert "Arm lamp: fill in seconds (how long), distance_cm (how far away)." in done.output
    text = Path("may.toml").read_text("utf-8")
    assert "# seconds =" in text
    assert "# watts =" not in text


def test_design_prints_the_table() -> None:
    done = run("design", "--base", 0.1, "--effect", 0.4, "--icc", 0.1, "--spores", 40)
    assert done.exit_code == 0, done.output
    assert "50 of 100 spores are broken, where 10 of 100" in done.output
    assert done.output.count("alike (0.1)") == 1
    wrong = run("design", "--base", 0.8, "--effect", 0.4)
    assert wrong.exit_code == 3
    assert len(wrong.output.splitlines()) == 1


@pytest.mark.parametrize("name", list(trial_group.commands))
def test_every_command_has_help_with_examples_and_explained_options(name: str) -> None:
    text = run(name, "--help")
    assert f"sporecount trial {name}" in text.output.split("Examples:")[1]
    own = [one for one in trial_group.commands[name].params if isinstance(one, click.Option)]
    assert all(option.help for option in own)


@pytest.mark.parametrize("name", list(trial_group.commands))
def test_every_option_is_in_the_guide(name: str) -> None:
    guide = (Path(__file__).parent.parent / "docs/trial.md").read_text("utf-8")
    options = [
        option
        for one in trial_group.commands[name].params
        if isinstance(one, click.Option)
        for option in one.opts
    ]
    missing = [one for one in options if not re.search(rf"(?<![\w-]){one}(?![\w-])", guide)]
    assert missing == []


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("soak: bleach, label 6%, 1 + 19, 5 min", ("hypochlorite", "treated", "1 + 19", 300.0)),
        (
            "quick: hypochlorite, label 60000ppm, 3000ppm, 30s",
            ("hypochlorite", "treated", "", 30.0),
        ),
        ("untreated", ("none", "untreated", "", None)),
        ("Lamp 2: UV, 15 W, 100 mm, 40 mJ/cm2, 1 h", ("uv-c", "treated", "", 3600.0)),
        ("X: spray, product of some kind, rinse tap water", ("spray", "treated", "", None)),
        ("odd", ("other", "treated", "", None)),
    ],
)
def test_arms_on_one_line(text: str, values: tuple[object, ...]) -> None:
    if text == "odd":
        with pytest.raises(TrialFileError, match="that means nothing here"):
            parse_arm(text)
        return
    arm = parse_arm(text)
    assert (arm.agent, arm.role, arm.dilution, arm.seconds) == values
    if arm.name == "quick":
        assert arm.wanted_pct == pytest.approx(0.3)
        assert arm.label_strength_pct == pytest.approx(6)
    if arm.name == "Lamp 2":
        assert (arm.watts, arm.distance_cm, arm.dose_mj_cm2) == pytest.approx((15, 10, 40))


def test_an_arm_says_nothing_twice() -> None:
    with pytest.raises(TrialFileError, match="says again what is said already"):
        parse_arm("x: bleach, 5 min, 60 s")
