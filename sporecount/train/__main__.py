"""Train the networks: draw tiles in one process, teach in others, install the results.

python -m sporecount.train draw TILES --workers 16 --seconds 560 --former BEFORE/search.pt &
python -m sporecount.train search TILES OUT --seconds 520
python -m sporecount.train glance TILES OUT --seconds 120
python -m sporecount.train closer TILES OUT --seconds 520
python -m sporecount.train pack OUT
python -m sporecount.train install OUT
"""

from __future__ import annotations

import multiprocessing as mp
import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click


def _say(text: str) -> None:
    click.echo(f"{time.strftime('%H:%M:%S')} {text}")


_FORMER = click.option(
    "--former",
    type=click.Path(path_type=Path, exists=True),
    help="Weights of a search trained before: what it is taken in by is shown to the closer look.",
)


@click.group()
def main() -> None:
    """Train the networks of the package on rendered pictures."""


def _start_workers(
    target: Callable,  # type: ignore[type-arg]
    folder: Path,
    workers: int,
    seed: int,
    until: Path,
    former: Path | None,
) -> list[mp.process.BaseProcess]:
    until.unlink(missing_ok=True)
    context = mp.get_context("spawn")
    processes = [
        context.Process(target=target, args=(folder, worker, seed, until, former), daemon=True)
        for worker in range(workers)
    ]
    for process in processes:
        process.start()
    return processes


@main.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--workers", default=8, show_default=True)
@click.option("--seed", default=1, show_default=True)
@click.option("--seconds", default=600.0, show_default=True)
@_FORMER
def draw(folder: Path, workers: int, seed: int, seconds: float, former: Path | None) -> None:
    """Draw training chunks into FOLDER for a while."""
    from sporecount.train.draw import draw_search_chunks

    folder.mkdir(parents=True, exist_ok=True)
    until = folder / "stop"
    processes = _start_workers(draw_search_chunks, folder, workers, seed, until, former)
    began = time.monotonic()
    while time.monotonic() - began < seconds and not until.exists():
        time.sleep(0.5)
    until.touch()
    for process in processes:
        process.join(timeout=10)


@main.command()
@click.argument("sheet", type=click.Path(path_type=Path, exists=True))
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--tiles", default=1200, show_default=True, help="Tiles of each kind.")
@click.option("--seed", default=1, show_default=True)
@_FORMER
def blanks(sheet: Path, folder: Path, tiles: int, seed: int, former: Path | None) -> None:
    """Cut tiles from the spore-free photographs that SHEET names; put them into FOLDER."""
    from sporecount.train.blanks import write_blanks
    from sporecount.train.draw import COARSE_SIDE, FINE_SIDE

    write_blanks(sheet, folder, {"coarse": COARSE_SIDE, "fine": FINE_SIDE}, tiles, seed, former)


def _teaches(seconds: float, batch: int, least: int) -> Callable[[Callable], Callable]:  # type: ignore[type-arg]
    """Give a command the arguments and options that all teaching has, with its own defaults."""
    options = (
        click.argument("folder", type=click.Path(path_type=Path)),
        click.argument("out", type=click.Path(path_type=Path)),
        click.option("--seconds", default=seconds, show_default=True),
        click.option(
            "--steps", type=int, help="Train for so many steps instead: the same every time."
        ),
        click.option("--device", default="cuda", show_default=True),
        click.option("--seed", default=0, show_default=True),
        click.option("--batch", default=batch, show_default=True),
        click.option("--rate", default=3e-3, show_default=True),
        click.option(
            "--least",
            default=least,
            show_default=True,
            help="Tiles of each kind, or close-ups, to wait for.",
        ),
        click.option(
            "--start-from",
            type=click.Path(path_type=Path, exists=True),
            help="Weights of such a network taught before, to go on from.",
        ),
    )

    def given(command: Callable) -> Callable:  # type: ignore[type-arg]
        for option in reversed(options):
            command = option(command)
        return command

    return given


_WITHOUT = click.option("--without", help="Leave out a spore style or composition, by its name.")


def _name(network: str, without: str | None) -> str:
    return network if without is None else f"{network}-without-{without}"


def _seeded(seed: int, **shape: int) -> dict[str, int]:
    """Return the shape of a network about to be made, with its first weights settled."""
    import torch

    torch.manual_seed(seed)
    return shape


@main.command()
@_teaches(seconds=500.0, batch=64, least=512)
@click.option("--width", default=48, show_default=True)
@click.option("--deep", default=56, show_default=True)
@_WITHOUT
def search(
    folder: Path, out: Path, width: int, deep: int, without: str | None, **teaching: Any
) -> None:
    """Teach the search network from the chunks in FOLDER; write weights and ONNX to OUT."""
    from sporecount.train.draw import allowed_without
    from sporecount.train.export import export_search
    from sporecount.train.learn import train
    from sporecount.train.loss import search_loss
    from sporecount.train.network import SearchNet

    out.mkdir(parents=True, exist_ok=True)
    name = _name("search", without)
    train(
        SearchNet(**_seeded(teaching["seed"], width=width, deep=deep)),
        search_loss,
        [folder / "coarse", folder / "fine"],
        out / f"{name}.pt",
        shape={"width": width, "deep": deep},
        allowed=allowed_without(without),
        say=lambda text: _say(f"{name}: {text}"),
        **teaching,
    )
    export_search(out / f"{name}.pt", out / f"{name}.onnx")


@main.command()
@_teaches(seconds=120.0, batch=64, least=512)
@click.option("--width", default=32, show_default=True)
@click.option("--deeper", default=2, show_default=True)
def glance(folder: Path, out: Path, width: int, deeper: int, **teaching: Any) -> None:
    """Teach the glance network from the chunks in FOLDER; write weights and ONNX to OUT."""
    from sporecount.train.export import export_glance
    from sporecount.train.glance import GlanceNet, glance_loss
    from sporecount.train.learn import train

    out.mkdir(parents=True, exist_ok=True)
    train(
        GlanceNet(**_seeded(teaching["seed"], width=width, deeper=deeper)),
        glance_loss,
        [folder / "coarse", folder / "fine"],
        out / "glance.pt",
        shape={"width": width, "deeper": deeper},
        say=lambda text: _say(f"glance: {text}"),
        **teaching,
    )
    export_glance(out / "glance.pt", out / "glance.onnx")


@main.command()
@_teaches(seconds=500.0, batch=768, least=4000)
@_WITHOUT
def closer(folder: Path, out: Path, without: str | None, **teaching: Any) -> None:
    """Teach the closer network from the crops in FOLDER; write weights and ONNX to OUT."""
    from sporecount.train.closer import train_closer
    from sporecount.train.closer_network import export_closer
    from sporecount.train.draw import allowed_without

    out.mkdir(parents=True, exist_ok=True)
    name = _name("closer", without)
    train_closer(
        folder / "crops",
        out / f"{name}.pt",
        allowed=allowed_without(without),
        say=lambda text: _say(f"{name}: {text}"),
        **teaching,
    )
    export_closer(out / f"{name}.pt", out / f"{name}.onnx")


@main.command()
@click.argument("taught", nargs=-1, required=True, type=click.Path(path_type=Path, exists=True))
@click.argument("out", type=click.Path(path_type=Path))
def mean(taught: tuple[Path, ...], out: Path) -> None:
    """Take the mean of searches that were TAUGHT one from the other; write it to OUT."""
    from sporecount.train.export import export_search
    from sporecount.train.mean import write_mean

    out.mkdir(parents=True, exist_ok=True)
    write_mean(taught, out / "search.pt")
    export_search(out / "search.pt", out / "search.onnx")


@main.command()
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--photos", default=6, show_default=True, help="Pictures of each condition.")
def pack(out: Path, photos: int) -> None:
    """Make the weights in OUT whole numbers, by what pictures of every condition need."""
    from sporecount.train.quantise import (
        glance_sees,
        pictures_of_conditions,
        quantise,
        search_sees,
        shift_to_cut,
    )

    (out / "packed").mkdir(exist_ok=True)
    tiles = list(pictures_of_conditions(photos))
    quantise(out / "search.onnx", out / "packed" / "search.onnx", map(search_sees, tiles))
    quantise(out / "glance.onnx", out / "packed" / "glance.onnx", map(glance_sees, tiles))
    cut = shift_to_cut(out / "packed" / "glance.onnx", out / "packed" / "search.onnx", tiles)
    _say(f"packed search and glance; the glance's cut was {cut:.2f}")


@main.command()
@click.argument("out", type=click.Path(path_type=Path))
def install(out: Path) -> None:
    """Put the weights in OUT into the package."""
    target = Path(__file__).parent.parent / "detect" / "weights"
    target.mkdir(exist_ok=True)
    for made in ("packed/search.onnx", "packed/glance.onnx", "closer.onnx"):
        shutil.copyfile(out / made, target / Path(made).name)
        _say(f"installed {made}")


@main.command()
@click.option("--photos", default=10, show_default=True, help="Photos of each condition.")
@click.option("--jobs", default=2, show_default=True)
def calibrate(photos: int, jobs: int) -> None:
    """Fit chances and rates on photos of their own; write them into the package."""
    from sporecount.train.calibrate import calibrate as run

    click.echo(run(Path(__file__).parent.parent, photos, jobs))


if __name__ == "__main__":
    main()
