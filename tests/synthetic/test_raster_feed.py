"""Batches of views: the same from worker processes as from this one, in the order of their numbers."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import torch

from pattern.synthetic import dataset

CPU = torch.device("cpu")
SEED, SIZE = 4, 2


def test_worker_processes_draw_what_this_process_draws():
    with dataset.Feeder(SEED, SIZE, workers=1, start=0, ahead=2) as feeder:
        source = iter(feeder)
        for expected in range(2):
            number, slots = next(source)
            assert number == expected
            fed = dataset.to_device(slots, CPU)
            here = dataset.batch_here(SEED, number, SIZE, CPU)
            for part in fields(here):
                assert torch.equal(getattr(fed, part.name), getattr(here, part.name)), part.name
            del slots
        source.close()


def test_what_is_stored_of_a_view_comes_back():
    rng = np.random.default_rng(0)
    view = dataset.random_view(rng, dataset.random_gear(rng), 96, 128)
    memory = memoryview(bytearray(dataset.Slots.size(2)))
    slots = dataset.Slots.over(memory, 2, (96, 128))
    slots.put(1, view)
    batch = dataset.to_device(slots, CPU)
    np.testing.assert_array_equal(batch.part[1].numpy(), view.buffers.part)
    np.testing.assert_array_equal(batch.thing[1].numpy(), view.buffers.thing)
    seen = np.isfinite(view.buffers.depth)
    np.testing.assert_allclose(batch.depth[1].numpy()[seen], view.buffers.depth[seen], rtol=1e-3)
    assert not batch.depth[1].numpy()[~seen].any()
    np.testing.assert_allclose(
        batch.normal[1].permute(1, 2, 0).numpy(), view.buffers.normal, atol=1e-3
    )
    assert int(batch.side[1]) == (0 if view.side == "drive" else 1)
    assert float(batch.tooth_px[1]) == np.float32(view.tooth_px)
