"""`sporecount log`: a season from the command line, and errors on one line."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from sporecount.cli import main
from sporecount.rearing.log import RearingLog

ROOT = Path(__file__).parent.parent
PAGES = ("docs/rearing-log.md", "docs/egg-bath.md")


@pytest.fixture(autouse=True)
def own_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "data" / "log.sqlite3"
    monkeypatch.setenv("SPORECOUNT_LOG", str(path))
    return path


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["log", *map(str, arguments)])


def leaves(group: click.Group, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    for name, command in group.commands.items():
        yield (*path, name)
        if isinstance(command, click.Group):
            yield from leaves(command, (*path, name))


def command_at(path: tuple[str, ...]) -> click.Command:
    command: click.Command = main.commands["log"]
    for name in path:
        assert isinstance(command, click.Group)
        command = command.commands[name]
    return command


LOG = main.commands["log"]
assert isinstance(LOG, click.Group)
COMMANDS = list(leaves(LOG))


@pytest.mark.parametrize("path", COMMANDS, ids=" ".join)
def test_every_command_has_help_with_an_example_and_is_documented(path: tuple[str, ...]) -> None:
    result = run(*path, "--help")
    assert result.exit_code == 0
    words = " ".join(("sporecount log", *path))
    examples = result.output.split("Examples:")[1].splitlines()[1:]
    assert any(line.strip().startswith(words) for line in examples)
    text = (ROOT / PAGES[0]).read_text("utf-8")
    assert words in text
    for option in command_at(path).params:
        if isinstance(option, click.Option):
            assert option.help
            assert re.search(rf"(?<![\w-]){re.escape(option.opts[0])}(?![\w-])", text), option.opts


def test_every_option_of_the_bath_is_documented() -> None:
    text = (ROOT / PAGES[1]).read_text("utf-8")
    for option in main.commands["bath"].params:
        assert re.search(rf"(?<![\w-]){re.escape(option.opts[0])}(?![\w-])", text), option.opts


def test_options_that_the_pages_name_exist() -> None:
    known = {option for path in COMMANDS for one in command_at(path).params for option in one.opts}
    known |= {option for one in main.commands["bath"].params for option in one.opts}
    for page in PAGES:
        named = set(re.findall(r"(?<![\w-])(--[a-z][a-z-]*)", (ROOT / page).read_text("utf-8")))
        assert named <= known


def test_a_season_from_the_command_line(own_log: Path, tmp_path: Path) -> None:
    for arguments in (
        ("brood", "add", "garden 3", "--plant", "Asclepias syriaca", "--washed", "no"),
        ("brood", "add", "porch", "--source", "caterpillar", "--kept-apart", "yes"),
        ("adult", "add", "A17", "--brood", "garden 3", "--emerged", "2026-07-14", "--sex", "male"),
        ("adult", "add", "[red]A18", "--brood", "porch", "--wings", "crumpled"),
        ("brood", "change", "garden 3", "--eggs", "12", "--hatched", "11", "--who", "R. Keeper"),
        ("adult", "change", "[red]A18", "--identity", "A18"),
    ):
        result = run(*arguments)
        assert result.exit_code == 0, result.output
    with RearingLog.open(own_log) as log:
        log.record_sample({"sample": "A17", "load_class": 5, "decision": "heavily infected"})
        log.record_sample({"sample": "tape 3", "load_class": 0, "decision": "clear"})
    assert run("sample", "change", "tape 3", "--adult", "A18").exit_code == 0
    assert run("decide", "A17", "kept, not released", "--who", "R. Keeper").exit_code == 0

    shown = run("show").output
    for words in ("garden 3", "A18", "heavily infected", "kept, not released (R. Keeper)"):
        assert words in shown
    assert re.search(r"A17 +garden 3 +2026-07-14 +5 +heavily infected", shown)

    told = run("tell").output
    assert "Heavily infected (class 4 and above)" in told
    assert re.search(r"all +2 +1 of 2 +50%", told)
    assert "2 adults are a small number" in told
    assert "What to look at first" in told
    assert "Food plant that was not washed" in told

    assert run("export", tmp_path / "csv").exit_code == 0
    again = run("export", tmp_path / "csv")
    assert again.exit_code == 3
    assert "--replace" in again.output
    assert run("export", tmp_path / "csv", "--replace").exit_code == 0
    result = run("import", tmp_path / "csv")
    assert result.exit_code == 0
    assert "There already: 2 broods, 2 adults, 2 samples, 2 results, 1 decisions." in result.output
    other = run("import", tmp_path / "csv", "--log", tmp_path / "other.sqlite3")
    assert "New rows: 2 broods, 2 adults" in other.output
    assert (
        run("show", "--log", tmp_path / "other.sqlite3").output.split("Log:")[0]
        == (shown.split("Log:")[0])
    )


def test_a_conflict_is_told_and_settled_by_option(own_log: Path, tmp_path: Path) -> None:
    run("brood", "add", "B1", "--eggs", "12")
    run("export", tmp_path / "csv")
    path = tmp_path / "csv" / "broods.csv"
    path.write_bytes(path.read_bytes().replace(b",12,", b",13,"))
    result = run("import", tmp_path / "csv")
    assert result.exit_code == 1
    assert "broods B1, eggs: log '12', file '13' (changed by hand); kept: log." in result.output
    assert "1 not settled" in result.output
    result = run("import", tmp_path / "csv", "--take", "file", "--who", "R. Keeper")
    assert result.exit_code == 0
    assert "kept: file" in result.output
    with RearingLog.open(own_log) as log:
        assert log.rows()["broods"][0]["eggs"] == 13
        assert log.rows()["edits"][-1]["who"] == "R. Keeper"


@pytest.mark.parametrize(
    ("arguments", "said", "code"),
    [
        (("show",), "there is no rearing log", 3),
        (("tell",), "begin one with", 3),
        (("brood", "change", "B1", "--eggs", "3"), "there is no rearing log", 3),
        (("brood", "change", "B1"), "say what to change", 2),
        (("adult", "add", "A1", "--brood", "B9"), "brood 'B9': the log has none", 3),
        (("brood", "add", "B1", "--collected", "July"), "it is no date. Write it as", 3),
        (("brood", "add", "B1", "--eggs", "x"), "'x' is not a valid integer", 2),
        (("decide", "A1", "released"), "Missing option '--who'", 2),
        (("import", "nowhere"), "it holds no tables", 3),
    ],
)
def test_errors_are_one_line_and_say_what_to_do(
    arguments: tuple[str, ...], said: str, code: int
) -> None:
    result = run(*arguments)
    assert (result.exit_code, result.output.count("\n")) == (code, 1), result.output
    assert result.output.startswith("Error: ")
    assert said in result.output


def test_an_empty_log_tells_that_there_is_nothing(own_log: Path) -> None:
    RearingLog.open(own_log).close()
    result = run("tell")
    assert result.exit_code == 0
    assert "nothing to tell yet" in result.output


def test_a_season_becomes_one_page(tmp_path):
    run("adult", "add", "A <17>")
    page = tmp_path / "season.html"
    result = run("report", page, "--title", "Summer <1>")
    assert result.exit_code == 0, result.output
    text = page.read_text("utf-8")
    assert "Summer &lt;1&gt;" in text
    assert "<1>" not in text


def test_the_demonstration_season_names_the_adult_of_each_tape(own_log):
    result = run("import", ROOT / "sample_images" / "season")
    assert result.exit_code == 0, result.output
    with (ROOT / "sample_images" / "photos.csv").open(encoding="utf-8", newline="") as file:
        samples = {row["sample"] for row in csv.DictReader(file)} - {""}
    with RearingLog.open(own_log) as log:
        adults = {row["identity"] for row in log.rows()["adults"]}
    assert samples == adults
