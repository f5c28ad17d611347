"""Run the packaged networks on the CPU, through ONNX Runtime.

It takes a little over half the time that OpenCV takes for the same networks, and answers the same to
1e-5 (measured on two cores).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

PACKAGE = "pattern.teeth"


def run(
    weights: str, blob: NDArray[np.float32], outputs: Sequence[str]
) -> list[NDArray[np.float32]]:
    """The named outputs of a network in this package's `weights` folder for one input.

    `blob` is (n, channels, rows, columns) as the network was exported for, the outputs as it gives them:
    `reader.onnx` one picture (1, 4, h, w), `marks.onnx` any number of teeth (n, 11, 48, 144). Takes as many threads as OpenCV may, so that a worker with one core keeps to it.
    """
    network = _loaded(weights, max(1, cv2.getNumThreads()))
    (given,) = network.get_inputs()
    return [np.asarray(found) for found in network.run(list(outputs), {given.name: blob})]


@lru_cache(maxsize=4)
def _loaded(weights: str, threads: int) -> Any:
    # here, because it takes a fifth of a second and only reading needs it
    import onnxruntime

    onnxruntime.disable_telemetry_events()  # only Windows builds have any; nothing leaves the shop
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = threads
    options.inter_op_num_threads = 1
    options.add_session_config_entry("session.intra_op.allow_spinning", "0")
    data = resources.files(PACKAGE).joinpath("weights", weights).read_bytes()
    return onnxruntime.InferenceSession(data, options, providers=["CPUExecutionProvider"])
