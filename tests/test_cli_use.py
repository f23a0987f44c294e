"""Help, wrong use and the other commands."""

from __future__ import annotations

from pathlib import Path

import click
import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from sporecount.cli import main
from sporecount.cli.exit_codes import EXIT_CODES
from sporecount.cli.settings_file import read_settings, settings_from
from sporecount.errors import SettingsError
from sporecount.render.micrometer import render_micrometer
from sporecount.settings import Settings


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SPORECOUNT_CONFIG_DIR", str(tmp_path / "config"))


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def commands() -> list[tuple[str, ...]]:
    return [(), *((name,) for name in main.commands)]


@pytest.mark.parametrize("command", commands())
def test_every_command_has_help_with_an_example(command: tuple[str, ...]) -> None:
    result = run(*command, "--help")
    assert result.exit_code == 0
    examples = result.output.split("Examples:")[1].splitlines()[1:]
    assert examples[0].strip().startswith(" ".join(("sporecount", *command)))


@pytest.mark.parametrize("name", list(main.commands))
def test_every_option_is_explained(name: str) -> None:
    command = main.commands[name]
    options = [one for one in command.params if isinstance(one, click.Option)]
    assert all(option.help for option in options)


@pytest.mark.parametrize("command", ["count", "score", "watch", "bath", "log"])
def test_help_lists_every_exit_code(command: str) -> None:
    text = run(command, "--help").output.split("Exit codes:")[1].split("Commands:")[0]
    assert max(map(len, text.splitlines())) <= 80
    said = " ".join(text.split())
    assert said == " ".join(f"{code} {meaning}" for code, meaning in EXIT_CODES.items())


def test_the_exit_codes_name_what_happens_to_the_log_and_to_the_folder() -> None:
    assert "a result that the log does not take" in EXIT_CODES[1]
    assert "open conflicts" in EXIT_CODES[1]
    assert "another run at work in the same folder" in EXIT_CODES[3]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("count", "nowhere", "--out", "x"), "nowhere"),
        (("count", ".", "--out", "x", "--um", "1"), "--um"),
        (("count", ".", "--um-per-px", "1"), "--out"),
        (("count", "."), "--out"),
        (("count", "--out", "x"), "PATH"),
        (("count", ".", "--out", "x", "--jobs", "0"), "--jobs"),
        (("count", ".", "--out", "x", "--um-per-px", "much"), "much"),
        (("calibrate", "nowhere.jpg"), "nowhere.jpg"),
        (("cuont",), "cuont"),
    ],
)
def test_wrong_use_is_one_line_and_2(arguments: tuple[str, ...], said: str) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert len(result.output.splitlines()) == 1
    assert result.output.startswith("Error: ")
    assert said in result.output
    assert "--help" in result.output


@pytest.mark.parametrize("scale", ["0", "-1", "nan", "inf"])
def test_impossible_scale_is_wrong_use(scale: str) -> None:
    Image.new("RGB", (8, 8)).save("a.png")
    result = run("count", "a.png", "--um-per-px", scale, "--out", "x")
    assert result.exit_code == 2
    assert "a scale is a positive number" in result.output


def test_half_of_the_eyepiece_is_wrong_use() -> None:
    Image.new("RGB", (8, 8)).save("a.png")
    result = run("count", "a.png", "--field-number", 18, "--out", "x")
    assert result.exit_code == 2
    assert "--field-number and --objective are given together" in result.output


def test_empty_folder_is_3() -> None:
    Path("empty").mkdir()
    result = run("count", "empty", "--out", "x")
    assert result.exit_code == 3
    assert "there is no photo in it" in result.output


def test_calibrate_prints_saves_lists_and_draws() -> None:
    rng = np.random.default_rng(3)
    Image.fromarray(render_micrometer(rng, um_per_px=0.65, size_px=(900, 500))).save("mm.png")
    result = run("calibrate", "mm.png", "--save", "10x", "--marked", "lines.jpg")
    assert result.exit_code == 0, result.output
    first = result.output.split()
    assert float(first[0]) == pytest.approx(0.65, rel=0.003)
    assert first[1] == "um/px,"
    assert "standard error" in result.output
    assert Path("lines.jpg").read_bytes()[:2] == b"\xff\xd8"
    again = run("calibrate", "mm.png", "--save", "10x")
    assert again.exit_code == 3
    assert "there is one of that name already" in again.output
    assert run("calibrate", "mm.png", "--save", "10x", "--replace").exit_code == 0
    assert run("calibrations").output.startswith("10x: 0.6")


def test_calibrate_names_the_photo_that_shows_no_ruling() -> None:
    Image.new("RGB", (300, 200), "white").save("clear.png")
    result = run("calibrate", "clear.png", "--save", "x")
    assert result.exit_code == 3
    assert "clear.png" in result.output
    assert "No saved scales" in run("calibrations").output


def test_settings_file_is_laid_over_the_defaults(tmp_path: Path) -> None:
    file = tmp_path / "s.toml"
    file.write_text("[count]\nclass_lower_bounds = [0, 1, 10]\n[field]\nwork_um_per_px = 1\n")
    settings = read_settings(file)
    assert settings.count.class_lower_bounds == (0, 1, 10)
    assert isinstance(settings.field.work_um_per_px, float)
    assert settings.detect == Settings().detect


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[count]\nlevle = 1", "count.levle: there is no such setting. Known in"),
        ("[cuont]\nlevel = 1", "cuont: there is no such group. Known groups: field, detect"),
        ("level = 1", "level: there is no such group"),
        ("count = 1", "count: it is a group"),
        ("[count]\nlevel = 'high'", "count.level = 'high': it is of the wrong kind"),
        ("[count]\nlevel = true", "it is of the wrong kind"),
        ("[count]\nclass_lower_bounds = [0, 1.5]", "it is of the wrong kind"),
        ("[count]\nlevel = 2", "lies between 0 and 1"),
        ("[count", "it is no TOML file"),
    ],
)
def test_settings_that_cannot_be_used_are_named(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "s.toml"
    file.write_text(text)
    with pytest.raises(SettingsError, match=said.replace("[", r"\[")):
        read_settings(file)


def test_settings_file_that_cannot_be_used_is_2() -> None:
    Image.new("RGB", (8, 8)).save("a.png")
    Path("s.toml").write_text("[count]\nlevle = 1")
    result = run("count", "a.png", "--um-per-px", 1, "--out", "x", "--settings", "s.toml")
    assert result.exit_code == 2
    assert "Known in [count]: level, class_lower_bounds" in result.output


def test_settings_survive_the_way_through_a_file() -> None:
    settings = settings_from({"count": {"level": 0.9, "class_lower_bounds": [0, 1, 2]}})
    stored = {
        group: {key: list(one) if isinstance(one, tuple) else one for key, one in values.items()}
        for group, values in settings.as_dict().items()
    }
    assert settings_from(stored) == settings
