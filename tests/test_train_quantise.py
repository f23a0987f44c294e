"""The 8-bit copy of the network is close to the network it was made from, and takes bytes."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("onnx")
torch = pytest.importorskip("torch")

import onnxruntime  # noqa: E402

from sporecount.detect.inputs import blocks, encode  # noqa: E402
from sporecount.train.export import export_search  # noqa: E402
from sporecount.train.network import SearchNet  # noqa: E402
from sporecount.train.quantise import as_floats, quantise  # noqa: E402


def _logits(path: Path, given: np.ndarray) -> np.ndarray:
    session = onnxruntime.InferenceSession(path, providers=["CPUExecutionProvider"])
    return session.run(None, {session.get_inputs()[0].name: given[None]})[0][0]


def _spotted_fields(count: int) -> list[np.ndarray]:
    y, x = np.mgrid[:128, :128].astype(np.float32)
    rng = np.random.default_rng(0)
    fields = []
    for _ in range(count):
        cover = np.zeros((128, 128), np.float32)
        for x0, y0 in rng.uniform(12, 116, (6, 2)):
            reach = np.hypot((x - x0) / 6.7, (y - y0) / 4.4)
            cover += 0.5 / (1 + np.exp(np.minimum((reach - 1) * 8, 50)))
        grain = rng.normal(0, 0.006, (128, 128, 3))
        fields.append(blocks(encode((cover[..., None] * [0.5, 0.75, 1.2] + grain).astype("f4"))))
    return fields


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> tuple[SearchNet, Path]:
    torch.manual_seed(1)
    model = SearchNet(16, 16).eval()
    with torch.no_grad():  # as a trained one has: logits that tell places apart
        model.out.bias.zero_()
        model.out.weight *= 50
    folder = tmp_path_factory.mktemp("net")
    torch.save({"model": model.state_dict(), "shape": {"width": 16, "deep": 16}}, folder / "s.pt")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of the older of two exporters
        export_search(folder / "s.pt", folder / "s.onnx")
    return model, folder / "s.onnx"


def test_the_exported_network_says_what_the_trained_one_says(
    exported: tuple[SearchNet, Path],
) -> None:
    model, path = exported
    field = as_floats(_spotted_fields(1)[0])
    with torch.no_grad():
        whole = model.on_blocks(torch.from_numpy(field)[None].permute(0, 3, 1, 2))
    np.testing.assert_allclose(
        _logits(path, field), whole[0].permute(1, 2, 0).numpy(), atol=1e-4, rtol=1e-4
    )


def test_training_and_use_see_the_pixels_of_a_block_in_the_same_order() -> None:
    density = np.random.default_rng(2).uniform(-0.2, 0.9, (16, 24, 3)).astype(np.float32)
    planes = torch.from_numpy(density.transpose(2, 0, 1))[None] * 2
    unshuffled = torch.nn.functional.pixel_unshuffle(planes, 4)[0].permute(1, 2, 0).numpy()
    np.testing.assert_allclose(as_floats(blocks(encode(density))), unshuffled, atol=0.006)


def test_an_8_bit_copy_is_smaller_and_says_nearly_the_same(
    exported: tuple[SearchNet, Path], tmp_path: Path
) -> None:
    _, source = exported
    fields = _spotted_fields(6)
    quantise(source, tmp_path / "small.onnx", fields[:5])
    assert (tmp_path / "small.onnx").stat().st_size < 0.6 * source.stat().st_size
    exact = _logits(source, as_floats(fields[5]))
    packed = _logits(tmp_path / "small.onnx", fields[5])
    spread = float(exact.std(axis=(0, 1)).mean())
    assert np.abs(exact - packed).mean() < 0.2 * spread
