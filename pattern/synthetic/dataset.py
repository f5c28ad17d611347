"""Feed the trainer: worker processes rasterise views into shared memory, a batch at a time.

Every batch has a number; what is in it follows from the run's seed and that number alone, whichever
worker draws it.
"""

from __future__ import annotations

import contextlib
import multiprocessing
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing import shared_memory
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray

from pattern.synthetic.raster_views import View, gearless_view, random_gear, random_view
from pattern.synthetic.shade_paint import Batch

SHAPES = ((384, 512), (384, 512), (512, 384), (384, 512), (448, 448))
"""Rows and columns of the pictures of a batch, in turn."""
PIXELS = max(rows * columns for rows, columns in SHAPES)
GEARLESS = 0.07
"""Share of pictures without a ring gear."""
VIEWS_PER_GEAR = 8

_PIXEL_FIELDS: dict[str, tuple[type, int]] = {
    "part": (np.uint8, 1), "thing": (np.uint8, 1), "texture": (np.float16, 2),
    "normal": (np.float16, 3), "depth": (np.float16, 1), "lit": (np.uint8, 1),
    "backdrop": (np.uint8, 3),
}  # fmt: skip
_PICTURE_FIELDS = {
    "towards_light": 3, "focal_px": 1, "centre_px": 2, "visible": 128, "inside": 128, "tooth": 1,
    "side": 1, "tooth_px": 1,
}  # fmt: skip


@dataclass(frozen=True)
class Slots:
    """Arrays of one batch, over one piece of memory."""

    pixels: dict[str, NDArray[Any]]
    pictures: dict[str, NDArray[np.float32]]

    @staticmethod
    def size(batch_size: int) -> int:
        """Bytes of one batch."""
        each = sum(np.dtype(kind).itemsize * n for kind, n in _PIXEL_FIELDS.values()) * PIXELS
        return batch_size * (each + 4 * sum(_PICTURE_FIELDS.values()))

    @classmethod
    def over(cls, memory: memoryview, batch_size: int, shape: tuple[int, int]) -> Slots:
        """Lay the arrays of a batch of that picture shape over memory."""
        start, pixels, pictures = 0, {}, {}
        for name, (kind, n) in _PIXEL_FIELDS.items():
            dims = (batch_size, *shape, n)
            pixels[name] = np.ndarray(dims, kind, memory, start)
            start += batch_size * PIXELS * n * np.dtype(kind).itemsize
        for name, n in _PICTURE_FIELDS.items():
            pictures[name] = np.ndarray((batch_size, n), np.float32, memory, start)
            start += batch_size * n * 4
        return cls(pixels, pictures)

    def put(self, row: int, view: View) -> None:
        """Store a view as picture `row` of the batch."""
        buffers = view.buffers
        self.pixels["part"][row, ..., 0] = buffers.part
        self.pixels["thing"][row, ..., 0] = buffers.thing
        self.pixels["texture"][row] = buffers.texture
        self.pixels["normal"][row] = buffers.normal
        seen = np.where(np.isfinite(buffers.depth), buffers.depth, 0.0)
        self.pixels["depth"][row, ..., 0] = np.minimum(seen, 60000.0)
        self.pixels["lit"][row, ..., 0] = view.lit * 255.0
        self.pixels["backdrop"][row] = view.backdrop
        values: dict[str, Any] = {
            "towards_light": view.towards_light, "focal_px": view.focal_px,
            "centre_px": view.centre_px, "visible": view.visible.ravel(),
            "inside": view.inside.ravel(), "tooth": view.tooth,
            "side": 0 if view.side == "drive" else 1, "tooth_px": view.tooth_px,
        }  # fmt: skip
        for name, value in values.items():
            self.pictures[name][row] = value


def to_device(slots: Slots, device: torch.device) -> Batch:
    """Copy a batch to the device and widen its types."""

    def pixels(name: str) -> torch.Tensor:
        return torch.from_numpy(slots.pixels[name]).to(device, non_blocking=True)

    def picture(name: str) -> torch.Tensor:
        return torch.from_numpy(slots.pictures[name]).to(device, non_blocking=True)

    def channels(name: str) -> torch.Tensor:
        return pixels(name).permute(0, 3, 1, 2).float().contiguous()

    count = slots.pictures["tooth"].shape[0]
    return Batch(
        part=pixels("part")[..., 0].long(),
        thing=pixels("thing")[..., 0].long(),
        texture=channels("texture"),
        normal=channels("normal"),
        depth=pixels("depth")[..., 0].float(),
        lit=pixels("lit")[..., 0].float() / 255.0,
        backdrop=channels("backdrop") / 255.0,
        towards_light=picture("towards_light"),
        focal_px=picture("focal_px")[:, 0],
        centre_px=picture("centre_px"),
        visible=picture("visible").reshape(count, 64, 2),
        inside=picture("inside").reshape(count, 64, 2),
        tooth=picture("tooth")[:, 0].long(),
        side=picture("side")[:, 0].long(),
        tooth_px=picture("tooth_px")[:, 0],
    )


def shape_of(number: int) -> tuple[int, int]:
    """Picture shape of a batch."""
    return SHAPES[number % len(SHAPES)]


def draw_views(
    slots: Slots, first: int, last: int, seed: int, number: int, shape: tuple[int, int]
) -> None:
    """Draw pictures `first` to `last` - 1 of a batch."""
    rng = np.random.default_rng([seed, number, first])
    gear = random_gear(rng)
    for row in range(first, last):
        if rng.random() < GEARLESS:
            view = gearless_view(rng, *shape)
        else:
            view = random_view(rng, gear, *shape)
        slots.put(row, view)


def batch_here(seed: int, number: int, batch_size: int, device: torch.device) -> Batch:
    """A batch drawn in this process, for tests and debugging."""
    memory = memoryview(bytearray(Slots.size(batch_size)))
    shape = shape_of(number)
    slots = Slots.over(memory, batch_size, shape)
    for first in range(0, batch_size, VIEWS_PER_GEAR):
        draw_views(slots, first, min(first + VIEWS_PER_GEAR, batch_size), seed, number, shape)
    return to_device(slots, device)


class Feeder:
    """Batches drawn ahead by worker processes. Use as a context; iterate for (number, slots)."""

    def __init__(
        self, seed: int, batch_size: int, workers: int, start: int = 0, ahead: int = 8
    ) -> None:
        self.seed, self.batch_size, self.start = seed, batch_size, start
        context = multiprocessing.get_context("spawn")
        size = Slots.size(batch_size)
        self.memory = [shared_memory.SharedMemory(create=True, size=size) for _ in range(ahead)]
        self.tasks: Any = context.Queue()
        self.done: Any = context.Queue()
        names = [m.name for m in self.memory]
        self.workers = [
            context.Process(
                target=_work, args=(names, batch_size, seed, self.tasks, self.done), daemon=True
            )
            for _ in range(workers)
        ]

    def __enter__(self) -> Feeder:
        if torch.cuda.is_available():
            for (
                memory
            ) in self.memory:  # page-locked, so that copies to the device run at full speed
                address = torch.frombuffer(_buffer(memory), dtype=torch.uint8).data_ptr()
                torch.cuda.cudart().cudaHostRegister(address, memory.size, 0)
        for worker in self.workers:
            worker.start()
        return self

    def __exit__(self, *_: object) -> None:
        for worker in self.workers:
            worker.terminate()
        for memory in self.memory:
            if torch.cuda.is_available():
                address = torch.frombuffer(_buffer(memory), dtype=torch.uint8).data_ptr()
                torch.cuda.cudart().cudaHostUnregister(address)
            with contextlib.suppress(BufferError):  # arrays still look at it; unlinked all the same
                memory.close()
            memory.unlink()

    def __iter__(self) -> Iterator[tuple[int, Slots]]:
        """Batches in order of their number; a batch is valid until the next is asked for."""
        parts = range(0, self.batch_size, VIEWS_PER_GEAR)
        open_parts = {}

        def ask(number: int) -> None:
            open_parts[number] = len(parts)
            for first in parts:
                self.tasks.put((number, number % len(self.memory), first))

        for number in range(self.start, self.start + len(self.memory)):
            ask(number)
        number = self.start
        while True:
            while open_parts[number]:
                open_parts[self.done.get(timeout=300)] -= 1
            memory = self.memory[number % len(self.memory)]
            yield number, Slots.over(_buffer(memory), self.batch_size, shape_of(number))
            del open_parts[number]
            ask(number + len(self.memory))
            number += 1


def _buffer(memory: shared_memory.SharedMemory) -> memoryview:
    if memory.buf is None:
        raise RuntimeError("shared memory is closed")
    return memory.buf


def _work(names: list[str], batch_size: int, seed: int, tasks: Any, done: Any) -> None:
    import cv2

    cv2.setNumThreads(1)
    memory = [shared_memory.SharedMemory(name=name) for name in names]
    buffers = [_buffer(m) for m in memory]
    while True:
        number, place, first = tasks.get()
        shape = shape_of(number)
        slots = Slots.over(buffers[place], batch_size, shape)
        draw_views(slots, first, min(first + VIEWS_PER_GEAR, batch_size), seed, number, shape)
        done.put(number)
