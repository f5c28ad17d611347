"""The lists of photos hold what the measurement needs, and are the same at every call."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict

import pytest

from pattern.synthetic.render import scene_list, shrunk
from pattern.synthetic.scene_samples import JOBS
from pattern.synthetic.scene_trial import FAMILIES

SAMPLES, TRIAL = scene_list("samples"), scene_list("trial")


@pytest.mark.parametrize("name", ["samples", "trial"])
def test_a_list_is_the_same_at_every_call_and_its_names_are_unique(name):
    first, second = scene_list(name), scene_list(name)
    assert [asdict(s) for s in first] == [asdict(s) for s in second]
    assert max(Counter(s.name for s in first).values()) == 1


def test_samples_are_at_least_twelve_pairs_and_eight_photos_to_decline():
    pairs = Counter(s.pair for s in SAMPLES if s.fault is None)
    assert len(pairs) >= 12
    assert set(pairs.values()) == {2}
    faults = {s.fault for s in SAMPLES if s.fault}
    assert {"blurred", "blown_out", "dark", "no_compound", "not_rolled", "cut_off", "hidden",
            "too_far"} <= faults  # fmt: skip


def test_a_pair_is_one_set_after_one_move():
    for job in JOBS:
        drive, coast = (s for s in SAMPLES if s.pair == job.name)
        assert (drive.side, coast.side) == ("drive", "coast")
        assert drive.spec == coast.spec
        assert drive.computed == coast.computed == job.moves


def test_samples_vary_over_teeth_colours_finishes_hands_and_systems():
    jobs = [s for s in SAMPLES if s.fault is None]
    assert {s.spec.ring_teeth for s in jobs} >= {37, 39, 41, 43}
    assert {s.brush.colour for s in jobs} == {
        "yellow", "white", "orange-red", "blue", "green", "grey-white"
    }  # fmt: skip
    assert {s.spec.hand for s in jobs} == {"left", "right"}
    assert {s.spec.tooth_system for s in jobs} == {"tapered", "uniform"}
    assert all(7.5 <= s.spec.ring_diameter_in <= 10.5 for s in jobs)
    assert {(4000, 3000)} < {s.size_px for s in jobs}


def test_the_trial_set_is_large_and_half_drive():
    good = [s for s in TRIAL if s.fault is None]
    assert len(good) >= 150
    assert abs(sum(s.side == "drive" for s in good) - len(good) / 2) <= 2
    assert sum(s.fault is not None for s in TRIAL) >= 40
    assert {s.pair for s in good} == {f.name for f in FAMILIES}
    assert {m.kind for s in good for m in s.marks.values()} == {
        "ellipse", "two_band", "diagonal", "faint"
    }  # fmt: skip


def test_the_trial_set_shares_no_finish_or_light_with_the_samples():
    def looks(scenes):
        return {s.finish for s in scenes}, {s.light.kind for s in scenes}

    sample_finish, sample_light = looks(SAMPLES)
    trial_finish, trial_light = looks(TRIAL)
    assert not sample_finish & trial_finish
    assert not sample_light & trial_light


def test_shrinking_keeps_the_picture():
    scene = TRIAL[0]
    small = shrunk(scene, 4)
    assert small.size_px == (scene.size_px[0] // 4, scene.size_px[1] // 4)
    assert small.wish.tooth_px == scene.wish.tooth_px / 4
