"""The one place that runs a network: ONNX weights from the package, on the CPU."""

from __future__ import annotations

import os
import threading
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

#: Threads of each run. The command line sets 1 when it counts several photos at once.
_threads = max(1, min(2, os.cpu_count() or 1))
_lock = threading.Lock()


def set_threads(count: int) -> None:
    """Set how many threads a network run may use, before the first run."""
    global _threads
    if count != _threads:
        with _lock:
            _threads = count
            _session.cache_clear()


@lru_cache(maxsize=8)
def _session(name: str) -> Any:
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = _threads
    options.inter_op_num_threads = 1
    options.log_severity_level = 3
    weights = (files("sporecount.detect") / "weights" / f"{name}.onnx").read_bytes()
    return onnxruntime.InferenceSession(weights, options, providers=["CPUExecutionProvider"])


def run(name: str, *inputs: NDArray[np.float32]) -> NDArray[np.float32]:
    """Run a network of the package.

    Parameters
    ----------
    name : str
        Name of its file in ``weights/``, such as ``"search"``.
    *inputs : ndarray, float32
        Its inputs, in order.

    Returns
    -------
    ndarray, float32
        Its logits.
    """
    with _lock:
        session = _session(name)
    names = [entry.name for entry in session.get_inputs()]
    return session.run(None, dict(zip(names, inputs, strict=True)))[0]
