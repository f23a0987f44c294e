"""The 8-bit copy of the network is close to the network it was made from."""

from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("onnx")

import onnxruntime

from sporecount.train.quantise import quantise


def logits(path, field):
    session = onnxruntime.InferenceSession(path, providers=["CPUExecutionProvider"])
    return session.run(None, {session.get_inputs()[0].name: field[None]})[0][0]


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_an_8_bit_copy_is_smaller_and_says_nearly_the_same(tmp_path):
    y, x = np.mgrid[:128, :128].astype(np.float32)
    rng = np.random.default_rng(0)
    fields = []
    for _ in range(6):
        cover = np.zeros((128, 128), np.float32)
        for x0, y0 in rng.uniform(12, 116, (6, 2)):
            reach = np.hypot((x - x0) / 6.7, (y - y0) / 4.4)
            cover += 0.5 / (1 + np.exp(np.minimum((reach - 1) * 8, 50)))
        grain = rng.normal(0, 0.006, (3, 128, 128))
        fields.append((cover * np.float32([[[0.5]], [[0.75]], [[1.2]]]) + grain).astype(np.float32))
    source = Path(str(files("sporecount.detect") / "weights" / "search.onnx"))
    target = tmp_path / "small.onnx"
    quantise(source, target, fields[:5])
    assert target.stat().st_size < 0.5 * source.stat().st_size or source.stat().st_size < 400_000
    heat, small = (1 / (1 + np.exp(-logits(path, fields[5])[0])) for path in (source, target))
    assert heat.max() > 0.5
    assert np.abs(heat - small).max() < 0.2
    assert heat.argmax() == pytest.approx(small.argmax(), abs=65)
