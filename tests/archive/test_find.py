"""Finding jobs: by words and filters, page by page, and jobs like the one at hand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from pattern.archive.store import Archive
from pattern.errors import InvalidInput
from pattern.jobs import AsFound, FinalSheet
from pattern.records import Axle
from tests.archive.many import many_jobs
from tests.archive.samples import AXLE, FINAL, roll


def found(archive: Archive, **query: object) -> list[str]:
    return [line.id for line in archive.list_jobs(**query).jobs]


@pytest.fixture
def shop(archive: Archive) -> Archive:
    archive.new_job(customer="Öz & Daughters", vehicle="flat-bed", axle=AXLE, tags=("rush", "rear"))
    archive.new_job(
        customer="Lena", vehicle="Coupé 1968", axle=Axle(37, 9, 9.25), notes="zebra van"
    )
    archive.new_job(
        customer="100% Cars", vehicle='the "old" one', axle=Axle(41, 10, 8.5), tags=("rush",)
    )
    archive.edit("J0002", status="done", final=FinalSheet(notes="quiet on the road"))
    archive.add_roll("J0003", roll(), [], None, note="chipped tooth at the toe")
    return archive


@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({}, ["J0003", "J0002", "J0001"]),
        ({"words": "oz"}, ["J0001"]),
        ({"words": "ÖZ daugh"}, ["J0001"]),
        ({"words": "coupe"}, ["J0002"]),
        ({"words": "zeb"}, ["J0002"]),
        ({"words": "quiet"}, ["J0002"]),
        ({"words": "chipped"}, ["J0003"]),
        ({"words": "100%"}, ["J0003"]),
        ({"words": '"old" OR NOT *'}, []),
        ({"words": '"old"'}, ["J0003"]),
        ({"words": "J0002"}, ["J0002"]),
        ({"words": "rush"}, ["J0003", "J0001"]),
        ({"words": "no such thing"}, []),
        ({"tag": "Rush"}, ["J0003", "J0001"]),
        ({"tag": "rush", "words": "flat"}, ["J0001"]),
        ({"status": "done"}, ["J0002"]),
        ({"ratio": 3.73}, ["J0001"]),
        ({"ratio": 4.1}, ["J0003"]),
        ({"ratio": 4.11}, ["J0002"]),
        ({"ring_teeth": 41}, ["J0003", "J0001"]),
        ({"ring_diameter_in": 8.5}, ["J0003", "J0001"]),
        ({"ring_diameter_in": 8.54, "pinion_teeth": 10}, ["J0003"]),
        ({"since": "2000-01-01", "until": "2000-12-31"}, []),
        ({"since": "2000-01-01"}, ["J0003", "J0002", "J0001"]),
        ({"older_than": "J0003"}, ["J0002", "J0001"]),
    ],
)
def test_everything_asked_for_must_hold(
    shop: Archive, query: dict[str, object], expected: list[str]
) -> None:
    assert found(shop, **query) == expected


@pytest.mark.parametrize("words", ["STRASSENM", "straßenm", "ΛΌΓΟΣ", "λογος", "ﬁat", "FIAT 12"])
def test_letters_are_found_however_they_are_written(archive: Archive, words: str) -> None:
    # Unicode's full case folding and compatibility decomposition: ß is ss, ς is σ, ﬁ is fi
    archive.new_job(customer="Straßenmeisterei", vehicle="Λόγος Fiat 124")
    archive.new_job(customer="Strasbourg")
    assert found(archive, words=words) == ["J0001"]


@pytest.mark.parametrize("words", ["*", "§§", "'", "\\", "!&|"])
def test_signs_alone_find_nothing_and_harm_nothing(shop: Archive, words: str) -> None:
    assert found(shop, words=words) == []
    assert found(shop, words=f"zebra {words}") == ["J0002"]


def test_the_ratios_are_the_trades_rounded_ones(archive: Archive) -> None:
    # Ratio names of tooth counts: common practice, no source (41/11 = 3.727 is "3.73", and so on).
    named = {
        (41, 11): 3.73,
        (37, 9): 4.11,
        (41, 12): 3.42,
        (43, 12): 3.58,
        (39, 11): 3.55,
        (43, 14): 3.07,
    }
    for ring, pinion in named:
        archive.new_job(axle=Axle(ring, pinion, 8.5))
    for (ring, pinion), ratio in named.items():
        (line,) = archive.list_jobs(ratio=ratio).jobs
        assert (line.ring_teeth, line.pinion_teeth) == (ring, pinion)


def test_an_edit_is_found_at_once_and_the_old_words_no_more(shop: Archive) -> None:
    shop.edit("J0001", customer="Quagga Ltd", tags=())
    assert found(shop, words="quagga") == ["J0001"]
    assert found(shop, words="daughters") == []
    assert found(shop, tag="rear") == []


def test_a_day_counts_whole(shop: Archive) -> None:
    today = shop.job("J0001").opened_at[:10]
    assert len(found(shop, since=today, until=today)) == 3


@pytest.mark.parametrize("query", [{"status": "broken"}, {"page_size": 0}, {"older_than": "x"}])
def test_a_wrong_question_is_refused(shop: Archive, query: dict[str, object]) -> None:
    with pytest.raises(InvalidInput):
        shop.list_jobs(**query)


@pytest.fixture(scope="module")
def big(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    archive = many_jobs(tmp_path_factory.mktemp("big") / "shop", count=500)
    yield archive
    archive.close()


@pytest.mark.parametrize(
    "query", [{}, {"tag": "noise"}, {"words": "howls"}, {"status": "done", "ratio": 3.73}]
)
def test_the_pages_together_are_every_job_once_newest_first(
    big: Archive, query: dict[str, object]
) -> None:
    whole = found(big, page_size=1000, **query)
    pages: list[str] = []
    older: str | None = ""
    while older is not None:
        page = big.list_jobs(page_size=37, older_than=older, **query)
        pages += [line.id for line in page.jobs]
        older = page.older
    assert pages == whole == sorted(whole, reverse=True)
    assert len(whole) > 37


def test_the_list_agrees_with_each_job(big: Archive) -> None:
    for line in big.list_jobs(page_size=5).jobs:
        job = big.job(line.id)
        assert job.axle is not None
        assert (line.customer, line.tags, line.status) == (job.customer, job.tags, job.status)
        assert (line.ring_teeth, line.ring_diameter_in) == (
            job.axle.ring_teeth,
            job.axle.ring_diameter_in,
        )


def test_a_starting_shim_is_hinted_from_jobs_like_this_one(archive: Archive) -> None:
    for depth in (0.031, 0.035, 0.032):
        job_id = archive.new_job(axle=AXLE, as_found=AsFound(pinion_mark="+1"))
        archive.edit(job_id, status="done", final=replace(FINAL, depth_shim_in=depth))
    unfinished = archive.new_job(axle=AXLE)
    archive.edit(unfinished, final=replace(FINAL, depth_shim_in=0.099))
    for axle in (replace(AXLE, ring_diameter_in=8.8), replace(AXLE, pinion_teeth=12)):
        archive.new_job(axle=axle, status="done", final=replace(FINAL, depth_shim_in=0.099))
    archive.new_job(
        axle=replace(AXLE, depth_shim="cartridge"),
        status="done",
        final=replace(FINAL, depth_shim_in=0.099),
    )
    hint = archive.shim_hint(AXLE)
    assert hint is not None
    assert (hint.depth_shim_in, hint.least_in, hint.most_in) == (0.032, 0.031, 0.035)
    assert [like.id for like in hint.evidence] == ["J0003", "J0002", "J0001"]
    assert hint.evidence[0].pinion_mark == "+1"
    without = archive.shim_hint(AXLE, but="J0002")
    assert without is not None
    assert [like.id for like in without.evidence] == ["J0003", "J0001"]


def test_no_hint_without_evidence_or_without_the_shims_place(archive: Archive) -> None:
    assert archive.shim_hint(AXLE) is None
    archive.new_job(axle=replace(AXLE, depth_shim="unknown"), status="done", final=FINAL)
    assert archive.shim_hint(replace(AXLE, depth_shim="unknown")) is None
