"""Two hundred generated edits against a simple model in memory: the archive gives the same answers."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)

from pattern.archive.store import Archive
from pattern.jobs import STATUSES, FinalSheet, Part
from pattern.records import Axle, Roll
from tests.archive.samples import photo_bytes, reading, roll

WORDS = st.sampled_from(
    ["", "Ada", "zebra van", "O'Neil; DROP TABLE jobs", '"quoted"', "ÄÖ %_", "λόγος"]
)
TAGS = st.lists(st.sampled_from(["rush", "Fleet", "rear  axle", "used"]), max_size=3)
AXLES = st.sampled_from([None, Axle(41, 11, 8.5), Axle(37, 9, 9.25), Axle(41, 10, 8.5)])
MOVES = st.sampled_from([None, 0.0, 0.004, -0.003])


@dataclass
class ModelRoll:
    roll: Roll
    filed: Roll
    shots: list[bytes]
    by_hand: dict[int, float] = field(default_factory=dict)
    note: str = ""
    struck: str = ""


@dataclass
class ModelJob:
    sheets: dict[str, Any]
    rolls: list[ModelRoll] = field(default_factory=list)
    edits: list[tuple[str, int | None]] = field(default_factory=list)


class Filing(RuleBasedStateMachine):
    jobs = Bundle("jobs")

    @initialize()
    def open_archive(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.archive = Archive.open(self.place())
        self.model: dict[str, ModelJob] = {}
        self.photo = 0

    def place(self) -> str | Path:
        return Path(self.folder.name) / "shop"

    @rule(target=jobs, customer=WORDS, axle=AXLES, tags=TAGS)
    def new_job(self, customer: str, axle: Axle | None, tags: list[str]) -> str:
        job_id = self.archive.new_job(customer=customer, axle=axle, tags=tags)
        sheets = {
            "status": "open", "customer": customer, "vehicle": "", "axle": axle, "notes": "",
            "tags": _tags(tags), "parts": (), "final": FinalSheet(),
        }  # fmt: skip
        edits: list[tuple[str, int | None]] = [
            (name, None) for name in ("status", "customer", "vehicle", "axle", "tags")
        ]
        self.model[job_id] = ModelJob(sheets, edits=edits)
        return job_id

    @rule(
        job=jobs,
        section=st.sampled_from(["customer", "vehicle", "notes", "tags", "status", "axle", "parts", "final"]),
        words=WORDS, tags=TAGS, axle=AXLES, status=st.sampled_from(STATUSES),
    )  # fmt: skip
    def edit(
        self, job: str, section: str, words: str, tags: list[str], axle: Axle | None, status: str
    ) -> None:
        value: Any = {
            "tags": tags, "axle": axle, "status": status, "parts": (Part(words or "seal"),),
            "final": FinalSheet(threadlocker=words),
        }.get(section, words)  # fmt: skip
        stands = _tags(tags) if section == "tags" else value
        model = self.model[job]
        changed = self.archive.edit(job, **{section: value})
        first_time = (section, None) not in model.edits
        assert changed == int(first_time or model.sheets[section] != stands)
        if changed:
            model.edits.append((section, None))
        model.sheets[section] = stands

    @rule(job=jobs, photos=st.integers(0, 2), pinion=MOVES, ring=MOVES, note=WORDS)
    def add_roll(
        self, job: str, photos: int, pinion: float | None, ring: float | None, note: str
    ) -> None:
        shots = [photo_bytes(self.photo + k) for k in range(photos)]
        self.photo += photos // 2 + 1  # now and then the same photo again
        made = roll(pinion_move_in=pinion, ring_move_in=ring)
        number = self.archive.add_roll(job, made, [(s, reading(s)) for s in shots], note=note)
        self.model[job].rolls.append(ModelRoll(made, made, shots, note=note))
        assert number == len(self.model[job].rolls)

    @rule(job=jobs, which=st.integers(0, 5), words=WORDS, pinion=MOVES, place=st.floats(0.1, 0.9))
    def edit_roll(
        self, job: str, which: int, words: str, pinion: float | None, place: float
    ) -> None:
        model = self.model[job]
        if not model.rolls:
            return
        number = which % len(model.rolls)
        mine = model.rolls[number]
        mine.roll = replace(mine.roll, pinion_move_in=pinion)
        mine.note, mine.struck = words, words
        readings = {}
        if mine.shots:
            mine.by_hand[1] = place
            readings = {1: reading(mine.shots[0], lengthwise=place)}
        self.archive.edit_roll(
            job, number + 1, roll=mine.roll, note=words, struck=words, readings=readings
        )

    @rule(job=jobs)
    def close_and_open(self, job: str) -> None:
        self.archive.close()
        self.archive = Archive(self.archive.location)

    @invariant()
    def every_job_says_what_the_model_says(self) -> None:
        for job_id, model in getattr(self, "model", {}).items():
            job = self.archive.job(job_id)
            for name, value in model.sheets.items():
                assert getattr(job, name) == value, name
            assert len(job.rolls) == len(model.rolls)
            for filed, mine in zip(job.rolls, model.rolls, strict=True):
                assert (filed.roll, filed.as_filed) == (mine.roll, mine.filed)
                assert (filed.note, filed.struck) == (mine.note, mine.struck)
                assert [self.archive.photo(p.sha256) for p in filed.photos] == mine.shots
                by_hand = {
                    p.position: p.corrected.lengthwise
                    for p in filed.photos
                    if p.corrected is not None
                }
                assert by_hand == mine.by_hand

    @invariant()
    def the_list_and_the_search_agree(self) -> None:
        model = getattr(self, "model", {})
        if not model:
            return
        assert [line.id for line in self.archive.list_jobs().jobs] == sorted(model, reverse=True)
        for tag in ("rush", "fleet", "rear axle"):
            found = {line.id for line in self.archive.list_jobs(tag=tag).jobs}
            assert found == {key for key, job in model.items() if tag in job.sheets["tags"]}
        done = {line.id for line in self.archive.list_jobs(status="done").jobs}
        assert done == {key for key, job in model.items() if job.sheets["status"] == "done"}
        zebra = {line.id for line in self.archive.list_jobs(words="zebra").jobs}
        assert zebra >= {key for key, job in model.items() if "zebra" in job.sheets["customer"]}

    def teardown(self) -> None:
        if hasattr(self, "archive"):
            assert self.archive.verify().is_clean
            self.archive.close()
            self.folder.cleanup()


def _tags(tags: list[str]) -> tuple[str, ...]:
    return tuple(sorted({" ".join(tag.lower().split()) for tag in tags}))


# Eight runs of up to forty edits, well over two hundred in all.
TestFiling = Filing.TestCase
TestFiling.settings = settings(
    max_examples=8,
    stateful_step_count=40,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    database=None,
    print_blob=False,
)


def test_a_server_gives_the_same_answers(server_place: Callable[[], str]) -> None:
    class OnServer(Filing):
        def place(self) -> str:
            return server_place()

    run_state_machine_as_test(OnServer, settings=settings(TestFiling.settings, max_examples=4))
