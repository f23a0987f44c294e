"""Whole-number weights: the search network in 8 bits, for the processors people have."""

from __future__ import annotations

import logging
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

#: What is computed in 8 bits: everything between the convolutions too, or each would be
#: packed and unpacked.
_OPERATORS = ["Conv", "Relu", "Add", "Resize"]


#: Seed of the pictures whose ranges set the scales; training and benchmark have others.
SEED = 5_113

#: Size of those pictures, px.
SIZE_PX = (900, 700)


def fields_of_conditions(photos: int) -> Iterator[NDArray[np.float32]]:
    """Yield what the network sees of ``photos`` rendered pictures of each countable condition."""
    from sporecount.detect.inputs import scale
    from sporecount.render.conditions import CONDITIONS, RUINED, condition_plan
    from sporecount.render.picture import render
    from sporecount.train.tiles import tile_of

    for place, name in enumerate(name for name in CONDITIONS if name not in RUINED):
        for number in range(photos):
            rng = np.random.default_rng([SEED, place, number])
            field = tile_of(render(condition_plan(name, rng, SIZE_PX), rng)).field
            rows, columns = (n // 8 * 8 for n in field.density.shape[:2])
            seen = scale(field.density) * field.examined[..., None]
            yield np.ascontiguousarray(seen[:rows, :columns].transpose(2, 0, 1))


def quantise(path_in: Path, path_out: Path, fields: Iterable[NDArray[np.float32]]) -> None:
    """Write an 8-bit copy of an exported network, with the same inputs and outputs.

    Weights have one scale for each output channel; activations one for each layer, from
    the ranges that the given fields produce. Confidences shift by some hundredths, so
    they must be calibrated anew afterwards.

    Parameters
    ----------
    path_in, path_out : Path
        ONNX files; the first has floats, inputs (n, 3, rows, columns).
    fields : iterable of ndarray, shape (3, rows, columns), float32
        What the network is usually shown, as `sporecount.detect.inputs.scale` returns
        it, sides multiples of 8: some dozens, from all conditions, crowded ones too.
    """
    import onnx
    from onnxruntime.quantization import (
        CalibrationDataReader,
        QuantFormat,
        QuantType,
        quantize_static,
    )
    from onnxruntime.quantization.shape_inference import quant_pre_process

    name = onnx.load(path_in).graph.input[0].name

    class _Fields(CalibrationDataReader):
        def __init__(self) -> None:
            self.rest: Iterator[NDArray[np.float32]] = iter(fields)

        def get_next(self) -> dict[str, NDArray[np.float32]] | None:
            field = next(self.rest, None)
            return None if field is None else {name: np.ascontiguousarray(field)[None]}

    with tempfile.TemporaryDirectory() as folder:
        ready = Path(folder) / "ready.onnx"
        # Shapes are symbolic here, which that inference can't follow through the resizing.
        quant_pre_process(path_in, ready, skip_symbolic_shape=True)
        before = logging.root.level
        logging.root.setLevel(logging.ERROR)  # it advises what has just been done
        try:
            quantize_static(
                ready,
                path_out,
                _Fields(),
                quant_format=QuantFormat.QDQ,
                per_channel=True,
                activation_type=QuantType.QUInt8,
                weight_type=QuantType.QInt8,
                op_types_to_quantize=_OPERATORS,
                # Processors without 8-bit dot products add pairs in 16 bits: 7 bits can't overflow.
                reduce_range=True,
            )
        finally:
            logging.root.setLevel(before)
