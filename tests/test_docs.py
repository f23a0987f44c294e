"""What people read says what the program does: columns, options, settings, links, folders."""

from __future__ import annotations

import csv
import dataclasses
import json
import re
import tomllib
from pathlib import Path
from typing import Any

import click
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from sporecount.cli import main
from sporecount.cli.exit_codes import EXIT_CODES
from sporecount.cli.settings_file import settings_from
from sporecount.counts.loadclass import class_range
from sporecount.counts.summary import STATUSES, SUMMARY_COLUMNS
from sporecount.detect.table import STATES
from sporecount.literature import LOAD_CLASS_LOWER_BOUNDS
from sporecount.photo.sheet import KNOWN_COLUMNS
from sporecount.report.tables import DETECTION_COLUMNS
from sporecount.settings import Settings

ROOT = Path(__file__).parent.parent
README, DEVELOPERS, RESULTS = ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "docs/results.md"
PAGES = [README, DEVELOPERS, *sorted((ROOT / "docs").glob("*.md"))]


def section(title: str, page: Path = RESULTS) -> str:
    """Return a page's part under a heading of second rank, that of lower ranks included."""
    found = re.search(
        rf"^## {re.escape(title)}\n(.*?)(?=^## |\Z)", page.read_text("utf-8"), re.M | re.S
    )
    assert found, f"{page.name} has no part {title!r}"
    return found[1]


def table_rows(text: str) -> list[list[str]]:
    """Return the cells of all tables in a text, without headings."""
    rows = [line.strip("|").split("|") for line in text.splitlines() if line.startswith("|")]
    cells = [[cell.strip() for cell in row] for row in rows]
    rules = [n for n, row in enumerate(cells) if set("".join(row)) <= set("-: ")]
    left_out = {n for rule in rules for n in (rule - 1, rule)}
    return [row for n, row in enumerate(cells) if n not in left_out]


def documented(text: str) -> set[str]:
    """Return the names in the first cells of all tables in a text."""
    return {name for row in table_rows(text) for name in re.findall(r"`([^`]+)`", row[0])}


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Count three photos: of litter, of nothing at all, and one too dark to be counted."""
    folder = tmp_path_factory.mktemp("docs")
    photos, out = folder / "photos", folder / "results"
    photos.mkdir()
    (photos / "litter.png").write_bytes((ROOT / "sample_images/willow-2.png").read_bytes())
    for name, level in (("clear.png", 200), ("dark.png", 12)):
        Image.fromarray(np.full((400, 400, 3), level, np.uint8)).save(photos / name)
    (folder / "sheet.csv").write_text("photo,um_per_px,sample\nlitter.png,1.1,Willow\n", "utf-8")
    done = CliRunner().invoke(
        main,
        ["count", str(photos), "--sheet", str(folder / "sheet.csv"), "--um-per-px", "1.1"]
        + ["--jobs", "1", "--out", str(out)],
    )
    assert done.exit_code == 1, done.output
    return out


def header(path: Path) -> list[str]:
    with path.open(encoding="utf-8", newline="") as file:
        return next(csv.reader(file))


def test_the_columns_of_photos_csv_are_documented_and_no_others(results: Path) -> None:
    written = header(results / "photos.csv")
    assert set(SUMMARY_COLUMNS) < set(written)
    assert documented(section("photos.csv")) == set(written)


def test_the_columns_of_detections_csv_are_documented_and_no_others(results: Path) -> None:
    written = header(results / "detections.csv")
    assert tuple(written) == DETECTION_COLUMNS
    described = section("detections.csv").split("### States")[0]
    assert documented(described) == set(written)


def test_the_columns_stand_in_the_order_in_which_they_are_written() -> None:
    for title, columns in (("photos.csv", SUMMARY_COLUMNS), ("detections.csv", DETECTION_COLUMNS)):
        names = [n for row in table_rows(section(title)) for n in re.findall(r"`([^`]+)`", row[0])]
        assert [name for name in names if name in columns][: len(columns)] == list(columns)


def test_statuses_and_states_are_documented() -> None:
    assert all(f"`{status}`" in section("photos.csv") for status in STATUSES)
    states = documented(section("detections.csv").split("### States")[1])
    assert states == set(STATES)


def test_the_sheet_s_columns_are_documented() -> None:
    text = RESULTS.read_text("utf-8")
    assert [name for name in KNOWN_COLUMNS if f"`{name}`" not in text] == []


def test_the_keys_of_the_run_record_are_documented_and_no_others(results: Path) -> None:
    record = json.loads((results / "run.json").read_text("utf-8"))
    rows = table_rows(section("run.json"))
    assert documented(section("run.json")) == set(record)
    of_photos = next(row[1] for row in rows if row[0] == "`photos`")
    assert set(re.findall(r"`([^`]+)`", of_photos)) == set(record["photos"][0])


def settings_by_name() -> dict[str, Any]:
    tree = Settings()
    return {
        f"{group.name}.{part.name}": getattr(getattr(tree, group.name), part.name)
        for group in dataclasses.fields(tree)
        for part in dataclasses.fields(getattr(tree, group.name))
    }


def test_every_setting_is_documented_and_no_other() -> None:
    assert documented(section("Settings file")) == set(settings_by_name())


def test_the_settings_file_shown_holds_every_setting_with_its_default() -> None:
    shown = re.search(r"```toml\n(.*?)```", section("Settings file"), re.S)
    assert shown
    content = tomllib.loads(shown[1])
    assert settings_from(content) == Settings()
    named = {f"{group}.{name}" for group, values in content.items() for name in values}
    assert named == set(settings_by_name())


def test_settings_that_the_measures_name_exist() -> None:
    named = set(re.findall(r"`((?:field|detect|count)\.[a-z_0-9]+)`", RESULTS.read_text("utf-8")))
    assert named <= set(settings_by_name())


def test_the_load_classes_shown_are_those_of_the_program() -> None:
    rows = [row for row in table_rows(section("Load classes")) if row[0].isdigit()]
    in_words = [class_range(load) for load in range(len(LOAD_CLASS_LOWER_BOUNDS))]
    short = [re.sub(r" spores?$", "", text) for text in in_words]
    assert rows == [
        [str(load), "none" if text == "no" else text] for load, text in enumerate(short)
    ]


def test_the_class_bounds_shown_are_accepted() -> None:
    shown = re.search(r"^    (\[count\])\n    (.*)$", section("Load classes"), re.M)
    assert shown
    bounds = settings_from(tomllib.loads(f"{shown[1]}\n{shown[2]}")).count.class_lower_bounds
    assert bounds != LOAD_CLASS_LOWER_BOUNDS


def test_the_exit_codes_are_documented_and_no_others() -> None:
    rows = {int(row[0]): row[1] for row in table_rows(section("Exit codes"))}
    assert rows == EXIT_CODES


def commands() -> dict[str, click.Command]:
    assert isinstance(main, click.Group)
    return {"": main, **main.commands}


def test_every_command_is_documented() -> None:
    text = README.read_text("utf-8") + RESULTS.read_text("utf-8")
    missing = [name for name in main.commands if not re.search(rf"sporecount {name}\b(?!-)", text)]
    assert missing == []


@pytest.mark.parametrize("name", list(commands()))
def test_every_option_is_documented(name: str) -> None:
    text = README.read_text("utf-8") + RESULTS.read_text("utf-8")
    command = commands()[name]
    options = {
        option
        for parameter in command.get_params(click.Context(command))
        if isinstance(parameter, click.Option)
        for option in parameter.opts
    }
    missing = {o for o in options if not re.search(rf"(?<![\w-]){re.escape(o)}(?![\w-])", text)}
    assert missing == set()


def test_options_that_are_named_exist() -> None:
    known = {
        option
        for command in commands().values()
        for parameter in command.get_params(click.Context(command))
        for option in parameter.opts
    } | {"--help", "-h"}
    text = section("Commands and options") + section("Which scale is used")
    assert set(re.findall(r"`(--[a-z0-9-]+)", text)) <= known


def headings(page: Path) -> set[str]:
    """Return the anchors that a page's headings have on the usual code hosts."""
    titles = re.findall(r"^#+ (.+)$", page.read_text("utf-8"), re.M)
    return {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in titles}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_relative_links_resolve(page: Path) -> None:
    broken = []
    for link in re.findall(r"\]\(([^)\s]+)\)", page.read_text("utf-8")):
        if re.match(r"[a-z]+:", link):
            continue
        path, _, anchor = link.partition("#")
        target = (page.parent / path) if path else page
        if not target.exists() or (anchor and anchor not in headings(target)):
            broken.append(link)
    assert broken == []


def test_readme_links_results_and_limits() -> None:
    links = re.findall(r"\]\(([^)\s]+)\)", README.read_text("utf-8"))
    assert {"docs/results.md", "docs/limits.md"} <= set(links)


def test_the_map_names_every_package_folder() -> None:
    package = ROOT / "sporecount"
    folders = {
        f"{folder.relative_to(ROOT).as_posix()}/"
        for folder in package.rglob("*")
        if folder.is_dir()
        and any(file.is_file() for file in folder.iterdir())
        and "__pycache__" not in folder.parts
    }
    assert folders, "no package folder found"
    assert folders - documented(section("Map of the code", DEVELOPERS)) == set()


def test_what_the_map_names_exists() -> None:
    named = documented(section("Map of the code", DEVELOPERS))
    paths = {name for name in named if name.startswith(("sporecount/", "tests/"))}
    assert {path for path in paths if not (ROOT / path).exists()} == set()


def test_the_training_commands_are_described() -> None:
    from sporecount.train.__main__ import main as train

    text = section("Train the network", DEVELOPERS)
    assert {name for name in train.commands if f"sporecount.train {name}" not in text} == set()


def test_the_guide_stays_short() -> None:
    assert len(DEVELOPERS.read_text("utf-8").splitlines()) < 200
