"""The one place that runs a network: ONNX weights from the package, on the CPU."""

from __future__ import annotations

import threading
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sporecount.threads import threads

_lock = threading.Lock()
_folder: Path | None = None


def use_weights(folder: Path | None) -> None:
    """Run networks from another folder from now on, such as one just trained.

    Parameters
    ----------
    folder : Path or None
        Where ``NAME.onnx`` lie; None for those of the package.
    """
    global _folder
    with _lock:
        _folder = folder
        _session.cache_clear()


def _weights(name: str) -> bytes:
    if _folder is not None:
        return (_folder / f"{name}.onnx").read_bytes()
    return (files("sporecount.detect") / "weights" / f"{name}.onnx").read_bytes()


@lru_cache(maxsize=8)
def _session(name: str, count: int) -> Any:
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = count
    # Threads that wait in a loop for the next run take the time of those that work.
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    options.inter_op_num_threads = 1
    options.log_severity_level = 3
    return onnxruntime.InferenceSession(_weights(name), options, providers=["CPUExecutionProvider"])


def run(name: str, *inputs: NDArray[Any], alone: bool = False) -> NDArray[np.float32]:
    """Run a network of the package.

    Parameters
    ----------
    name : str
        Name of its file in ``weights/``, such as ``"search"``.
    *inputs : ndarray
        Its inputs, in order, each of its own kind.
    alone : bool
        Use this thread only: many small runs side by side share the processors better than
        each does by itself.

    Returns
    -------
    ndarray, float32
        Its logits.
    """
    with _lock:
        session = _session(name, 1 if alone else threads())
    names = [entry.name for entry in session.get_inputs()]
    return session.run(None, dict(zip(names, inputs, strict=True)))[0]
