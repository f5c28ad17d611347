"""Every message about bad input was seen by giving that input, and helps: subject, fault, remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.hard.message_cases import ALL
from tests.hard.message_table import an_archive
from tests.hard.messages import Case, Site, Told, seen_sites, sites, told
from tests.hard.running import assert_message

ELSEWHERE: dict[Site, str] = {
    ("app/passphrase.py", "'cannot be read'"): "tests/app/test_passphrase.py",
    ("app/server.py", "f'port {port} cannot be used: {fault.strerror}'"): "tests/app/test_server.py",
    ("app/state.py", "wording.NO_JOB_NAMED"): "tests/app/test_screens.py",
    ("pattern/cli/page.py", "'none is set and nobody can be asked here'"): "tests/hard/test_strangers.py",
    ("pattern/cli/read_many.py", "'the system ended a worker process, perhaps for want of memory'"): "tests/cli/test_read_many.py",
    ("pattern/photo/decode.py", "f'cannot be opened ({fault.strerror})'"): "needs another user than root",
    ("pattern/photo/decode.py", "f'has more than {settings.max_megapixels:g} megapixels'"): "tests/photo/test_decode.py",
    ("pattern/report/measures.py", "f'{self.units!r} is not known'"): "tests/report/test_record.py",
    ("pattern/report/pdf.py", "f'{paper!r} is not known'"): "tests/report/test_record.py",
    ("pattern/setup/stacks.py", "'exists already'"): "tests/setup/test_stacks.py",
}  # fmt: skip
"""Messages that no case of the table gives, and where else they are tested."""
OWN_TESTS = ("pattern/archive/", "pattern/gears/", "pattern/synthetic/")
"""Folders whose faults need damage or strange physics; their own tests and `tests/hard` make them."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return an_archive(tmp_path_factory.mktemp("messages"))


SEEN: set[Site] = set()


def _name(case: Case) -> str:
    return f"{case.about}: {case.given}"


def test_every_case_is_refused_with_its_exit_code_and_a_message_that_helps(shop: Path) -> None:
    done: list[Told] = []
    with seen_sites(SEEN):
        done = [told(case, shop) for case in ALL]
    for one in done:
        assert one.code == one.case.code, (one.case.given, one.code, one.lines)
        assert len(one.lines) == 1, one.case.given
        assert_message(one.lines[0])
    _assert_all_seen(SEEN)


def _assert_all_seen(seen: set[Site]) -> None:
    left = {site for site in sites() - seen if not site[0].startswith(OWN_TESTS)}
    unseen = left - set(ELSEWHERE)
    assert not unseen, "no case gives these; add one to tests/hard/message_cases.py"
    assert not set(ELSEWHERE) - left, "these are seen now, or no longer made; take them out"


def test_no_two_cases_are_told_apart_by_nothing() -> None:
    names = [_name(case) for case in ALL]
    assert len(set(names)) == len(names)
