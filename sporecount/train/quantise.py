"""Whole-number weights: search and glance in 8 bits, for the processors people have."""

from __future__ import annotations

import logging
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from sporecount.train.tiles import Tile

#: What is computed in 8 bits: everything between the convolutions too, or each would be
#: packed and unpacked.
_OPERATORS = ["Conv", "Relu", "Add", "Resize"]


#: Seed of the pictures whose ranges set the scales; training and benchmark have others.
SEED = 5_113

#: Size of those pictures, px.
SIZE_PX = (1000, 800)


#: Share of the true objects that the search finds, and the glance may pass over.
PASSED_OVER = 0.001

#: The search finds an object where it looks closer at a place within so many working pixels.
FOUND_WITHIN_PX = 5.5


def pictures_of_conditions(photos: int) -> Iterator[Tile]:
    """Yield ``photos`` rendered pictures of each countable condition."""
    from sporecount.render.conditions import CONDITIONS, RUINED, condition_plan
    from sporecount.render.picture import render
    from sporecount.train.tiles import tile_of

    for place, name in enumerate(name for name in CONDITIONS if name not in RUINED):
        for number in range(photos):
            rng = np.random.default_rng([SEED, place, number])
            yield tile_of(render(condition_plan(name, rng, SIZE_PX), rng))


def search_sees(tile: Tile) -> NDArray[np.uint8]:
    """Return what the search network is shown of a picture, sides even."""
    from sporecount.detect.inputs import blocks, seen

    whole = seen(tile.field.density, tile.field.examined)
    rows, columns = (side // 8 * 8 for side in whole.shape[:2])
    return blocks(whole[:rows, :columns])


def glance_sees(tile: Tile) -> NDArray[np.uint8]:
    """Return what the glance network is shown of a picture."""
    from sporecount.detect.glance import glance_blocks
    from sporecount.detect.inputs import seen

    return glance_blocks(seen(tile.field.density, tile.field.examined))


def quantise(path_in: Path, path_out: Path, fields: Iterable[NDArray[np.uint8]]) -> None:
    """Write an 8-bit copy of an exported network, which takes bytes.

    Weights have one scale for each output channel; activations one for each layer, from
    the ranges that the given fields produce. Confidences shift by some hundredths, so
    they must be calibrated anew afterwards.

    Parameters
    ----------
    path_in, path_out : Path
        ONNX files; the first takes and gives floats (`sporecount.train.export`).
    fields : iterable of ndarray, shape (rows, columns, 48), uint8
        What the network is usually shown (`sporecount.detect.inputs.blocks`), sides
        even: some dozens, from all conditions, crowded ones too.
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
            return None if field is None else {name: as_floats(field)[None]}

    with tempfile.TemporaryDirectory() as folder:
        ready = Path(folder) / "ready.onnx"
        # Shapes are symbolic here, which that inference can't follow through the resizing.
        quant_pre_process(path_in, ready, skip_symbolic_shape=True)
        turned = onnx.load(ready).graph.node[0].output[0]
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
                # The input's bytes are what `encode` makes, so that they need no packing.
                extra_options={"TensorQuantOverrides": {turned: [_byte_scale()]}},
            )
        finally:
            logging.root.setLevel(before)
    _take_bytes(path_out)


def _byte_scale() -> dict[str, NDArray[Any]]:
    from sporecount.detect.inputs import STEP, ZERO_BYTE

    return {
        "scale": np.array(2 * STEP, np.float32),
        "zero_point": np.array(ZERO_BYTE, np.uint8),
    }


def as_floats(packed: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return what bytes stand for to the network: twice the optical density."""
    from sporecount.detect.inputs import STEP, ZERO_BYTE

    return (packed.astype(np.float32) - ZERO_BYTE) * np.float32(2 * STEP)


def _chain(graph: Any, name: str) -> list[Any]:
    """Return the three nodes that follow each other from the input on."""
    found = []
    for _ in range(3):
        found.append(next(node for node in graph.node if name in node.input))
        name = found[-1].output[0]
    return found


def _take_bytes(path: Path) -> None:
    """Let the network take bytes as they are, instead of packing floats into bytes first."""
    import onnx

    model = onnx.load(path)
    graph = model.graph
    given = graph.input[0]
    turning, packing, unpacking = _chain(graph, given.name)
    if (packing.op_type, unpacking.op_type) != ("QuantizeLinear", "DequantizeLinear"):
        raise RuntimeError(f"the input goes to {packing.op_type}, not to a packing into bytes")
    unpacking.input[0] = turning.output[0]
    graph.node.remove(packing)
    del graph.value_info[:]  # the kinds of old
    given.type.tensor_type.elem_type = onnx.TensorProto.UINT8
    onnx.checker.check_model(model)
    onnx.save(model, path)


def shift_to_cut(path: Path, search: Path, tiles: Iterable[Tile]) -> float:
    """Shift a packed glance network's logits so that 0 is its cut; return the cut before.

    Of the pictures' true objects that the search finds, `PASSED_OVER` lie below it: one that
    would not be found anyway costs nothing when it is passed over.

    Parameters
    ----------
    path, search : Path
        The packed networks; the first is changed.
    tiles : iterable of Tile
        Some thousand objects, of all conditions.
    """
    import onnx
    import onnxruntime

    glance, finder = (
        onnxruntime.InferenceSession(net, providers=["CPUExecutionProvider"])
        for net in (path, search)
    )
    said = np.concatenate([_at_objects(glance, finder, tile) for tile in tiles])
    cut = float(np.quantile(said, PASSED_OVER))
    model = onnx.load(path)
    graph = model.graph
    logits = graph.output[0].name
    last = next(node for node in graph.node if logits in node.output)
    last.output[0] = "unshifted"
    graph.initializer.append(onnx.numpy_helper.from_array(np.float32(cut), "cut"))
    graph.node.append(onnx.helper.make_node("Sub", ["unshifted", "cut"], [logits]))
    onnx.checker.check_model(model)
    onnx.save(model, path)
    return cut


def _at_objects(glance: Any, finder: Any, tile: Tile) -> NDArray[np.float32]:
    """Return the glance's logit of the cell that holds the centre of each object that is found."""
    from sporecount.detect.glance import GLANCE_CELL_PX
    from sporecount.detect.search import peaks
    from sporecount.settings import DetectSettings
    from sporecount.train.objects import STATE, WEIGHT, X, Y

    logits = _said(glance, glance_sees(tile))[..., 0]
    found = peaks(_said(finder, search_sees(tile)), DetectSettings().heat_floor)
    rows = tile.rows[(tile.rows[:, WEIGHT] > 0.5) & (tile.rows[:, STATE] >= 0)]
    away = np.hypot(rows[:, None, X] - found[None, :, 0], rows[:, None, Y] - found[None, :, 1])
    rows = rows[away.min(axis=1, initial=np.inf) <= FOUND_WITHIN_PX]
    at = np.floor((rows[:, [Y, X]] + 0.5) / GLANCE_CELL_PX).astype(int)
    inside = ((at >= 0) & (at < logits.shape)).all(axis=1)
    return logits[tuple(at[inside].T)]


def _said(session: Any, blocks: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return what a packed network says of one field's blocks."""
    return session.run(None, {session.get_inputs()[0].name: blocks[None]})[0][0]
