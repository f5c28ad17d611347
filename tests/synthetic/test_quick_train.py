"""The quick marks' training: what it draws, and that the command's networks answer as they were trained."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from pattern.synthetic.quick_draw import draw_examples
from pattern.synthetic.quick_train import answers, main, play_rates, train


def test_a_network_learns_and_keeps_what_it_learnt_with_its_scales_folded_in() -> None:
    rng = np.random.default_rng(0)
    inputs = rng.normal(5.0, 3.0, (4000, 2))
    outputs = np.column_stack([np.sin(inputs[:, 0] / 3), 10.0 + inputs[:, 1]])
    layers = train(inputs, outputs, 24, 30, 256, 0)
    missed = answers(layers, inputs) - outputs
    assert np.all(missed.std(axis=0) < 0.1 * outputs.std(axis=0))


def test_examples_are_whole_and_repeatable() -> None:
    one, two = (draw_examples("tapered", 4, 16, 3) for _ in range(2))
    assert np.array_equal(one.shown, two.shown) and np.array_equal(one.own, two.own)
    assert np.isfinite(one.shown).all()
    assert one.shown.min() >= 0.0 and one.shown.max() <= 1.0
    assert one.own.shape[1:] == (2, 14) and one.place.shape[1:] == (4,)


def test_play_rates_have_the_signs_of_the_bench() -> None:
    # common practice, no source: pinion deeper takes backlash, ring gear away gives some
    _, rates, _ = play_rates(draw_examples("tapered", 6, 64, 3))
    assert np.all(rates[:, 0] < 0) and np.all(rates[:, 1] > 0)


def test_the_command_writes_what_the_package_holds(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "quick.npz"
    main(["--out", str(out), "--blanks", "12", "--each", "16", "--epochs", "1"])
    made = np.load(out)
    with (files("pattern.gears") / "quick_marks.npz").open("rb") as file:
        held = np.load(file)
        assert set(made) == set(held)
        assert all(made[name].shape == held[name].shape for name in made)
    assert "uniform, coast, 15 to 26" in capsys.readouterr().out
