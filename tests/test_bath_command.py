"""`sporecount bath`: what it prints, times and records."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sporecount.bath.strength import parse_strength
from sporecount.cli import main
from sporecount.cli.bath_run import BathOptions, run_bath
from sporecount.cli.exit_codes import DONE, STOPPED
from sporecount.rearing.errors import LogError
from sporecount.rearing.log import RearingLog


class FakeClock:
    """Time passes only when somebody sleeps; Ctrl-C comes at a set time."""

    def __init__(self, interrupt_at: float = float("inf")) -> None:
        self.time, self.interrupt_at = 0.0, interrupt_at

    def monotonic(self) -> float:
        return self.time

    def sleep(self, seconds: float) -> None:
        self.time += seconds
        if self.time >= self.interrupt_at:
            raise KeyboardInterrupt


@pytest.fixture
def log_file(tmp_path: Path) -> Path:
    path = tmp_path / "log.sqlite3"
    with RearingLog.open(path) as log:
        log.add_brood("B1")
    return path


@pytest.fixture(autouse=True)
def own_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SPORECOUNT_LOG", str(tmp_path / "log.sqlite3"))


def options(log_file: Path, **more: object) -> BathOptions:
    known = {"label": 6.0, "want": parse_strength("5%v/v"), "seconds": 60.0, "log_file": log_file}
    return BathOptions(**{**known, "brood": "B1", **more})  # type: ignore[arg-type]


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["bath", *arguments])


def baths(path: Path) -> list[dict[str, object]]:
    with RearingLog.open(path) as log:
        return [dict(row) for row in log.rows()["baths"]]


def test_a_dilution_is_stated_both_ways_with_practices_and_cautions() -> None:
    """Common practice, no source: 5 mL of bleach + 95 mL of water for 60 s."""
    result = run("--label", "6", "--want", "5%v/v", "--volume", "100ml", "--no-timer")
    assert result.exit_code == 0
    assert "5 mL of product (6 %) + 95 mL of water" in result.output
    assert "1 part of product + 19 parts of water, that is 1 in 20." in result.output
    assert "0.3 % sodium hypochlorite, 3000 ppm" in result.output
    for practice in ("2 % by volume for 120 s", "5 % by volume for 60 s", "eggs are not bathed"):
        assert practice in result.output
    assert "no single right bath" in result.output
    assert "Never mix bleach with ammonia" in result.output
    assert "WARNING" not in result.output


def test_the_inverse_says_what_was_mixed() -> None:
    result = run("--label", "5.25%", "--product", "10", "--water", "936ml", "--no-timer")
    assert "that is 1 in 94.6." in result.output  # Washington WAC 296-823-14055
    assert "555 ppm" in result.output


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--label", "6", "--want", "20%v/v", "--no-timer"), "WARNING: Stronger"),
        (("--label", "8.25", "--want", "1in20", "--no-timer"), "WARNING: Stronger"),
        (
            ("--label", "6", "--want", "5%v/v", "--no-timer", "--took", "300"),
            "WARNING: Longer than what is usual at this strength",
        ),
        (("--label", "6", "--want", "100ppm", "--no-timer"), "WARNING: Weaker"),
    ],
)
def test_unusual_baths_are_warned_of(arguments: tuple[str, ...], said: str) -> None:
    result = run(*arguments)
    assert result.exit_code == 0
    assert said in result.output


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--label", "6", "--want", "5%", "--no-timer"), "Write 5%v/v"),
        (("--label", "6", "--want", "1:20", "--no-timer"), "Write 1in20 or 1+20"),
        (("--label", "600", "--want", "5%v/v", "--no-timer"), "read the label"),
        (("--label", "6", "--no-timer"), "either --want"),
        (("--label", "6", "--want", "1in20", "--product", "5", "--no-timer"), "either --want"),
        (("--label", "6", "--product", "5", "--no-timer"), "are given together"),
        (("--label", "6", "--want", "1in20"), "give --seconds for the timer, or --no-timer"),
        (("--label", "6", "--want", "1in20", "--seconds", "60", "--took", "60"), "--no-timer"),
        (("--label", "6", "--want", "1in20", "--no-timer", "--brood", "B1"), "needs --took"),
    ],
)
def test_wrong_use_is_one_line(arguments: tuple[str, ...], said: str) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert said.lower() in result.output.lower()
    assert result.output.count("\n") == 1


def test_a_bath_stronger_than_the_product_is_one_line() -> None:
    result = run("--label", "1", "--want", "2%active", "--no-timer")
    assert result.exit_code == 3
    assert "only 10000 ppm" in result.output


def test_the_timer_calls_to_rinse_and_records(
    log_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    clock, asked = FakeClock(), []

    def ask(words: str) -> None:
        asked.append((words, clock.time))
        clock.time += 4.0  # a person takes a while

    assert run_bath(options(log_file), clock, ask) == DONE
    assert [words for words, _ in asked] == [
        "Press Enter when the eggs go in. ",
        "Press Enter when the eggs are rinsed. ",
    ]
    output = capsys.readouterr().out
    lines = [line for line in output.splitlines() if line.startswith("rinse in")]
    assert lines == [f"rinse in {left} s" for left in (60, 50, 40, 30, 20, 10)]
    assert "\aRINSE NOW" in output
    assert "Contact: 64 s, planned 60 s." in output
    (bath,) = baths(log_file)
    assert (bath["label_percent"], bath["percent_by_volume"]) == (6.0, 5.0)
    assert (bath["product_ml"], bath["water_ml"]) == (5.0, 95.0)
    assert (bath["planned_s"], bath["real_s"], bath["rinsed"]) == (60.0, 64.0, 1)
    with RearingLog.open(log_file) as log:
        assert log.rows()["broods"][0]["bathed"] == 1


def test_a_terminal_shows_the_seconds_left_in_a_bar(
    log_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    terminal = Terminal()
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr("sys.stdout", terminal)
    run_bath(options(log_file, brood=None), FakeClock(), lambda words: None)
    shown = terminal.getvalue()
    assert "rinse in    0 s" in shown
    assert shown.index("rinse in    0 s") < shown.index("RINSE NOW")
    assert shown.rstrip().endswith("Contact: 60 s, planned 60 s.")


def test_ctrl_c_says_how_long_it_was_and_to_rinse_and_records_that(
    log_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run_bath(options(log_file), FakeClock(interrupt_at=41.0)) == STOPPED
    output = capsys.readouterr().out
    assert "Stopped after 41 s of 60 s. RINSE NOW" in output
    (bath,) = baths(log_file)
    assert (bath["real_s"], bath["rinsed"]) == (pytest.approx(41, abs=0.3), None)
    assert bath["notes"] == "broken off by hand"


def test_a_brood_that_is_not_there_is_said_before_the_eggs_are_in(log_file: Path) -> None:
    clock = FakeClock()
    with pytest.raises(LogError, match="brood 'B9'"):
        run_bath(options(log_file, brood="B9"), clock)
    assert clock.time == 0
    assert baths(log_file) == []


def test_a_bath_without_the_timer_is_recorded_too(log_file: Path) -> None:
    result = run(
        *("--label", "6", "--want", "2%v/v", "--no-timer", "--took", "120"),
        *("--brood", "B1", "--rinsed", "no", "--log", str(log_file)),
    )
    assert result.exit_code == 0, result.output
    (bath,) = baths(log_file)
    assert (bath["planned_s"], bath["real_s"], bath["rinsed"]) == (None, 120.0, 0)


def test_without_a_brood_no_log_is_made(tmp_path: Path) -> None:
    done = run("--label", "6", "--want", "2%v/v", "--no-timer")
    assert done.exit_code == 0
    assert list(tmp_path.iterdir()) == []
