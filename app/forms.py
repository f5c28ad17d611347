"""Fields that write themselves to a draft in the archive as they are left, so nothing is lost.

What is kept goes into each field as its value, never through the session: a rerun that cuts in
between would show an empty field and then keep the emptiness.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from app import figures, parts, wording
from app.state import page_state
from pattern.archive.store import Archive
from pattern.errors import EditedMeanwhile
from pattern.jobs import Job

_SEEN = "seen"


class DraftForm:
    """One sheet of a job while it is being filled in. Lengths are kept in inches, None if empty.

    `seen` is the version of the job that the sheet was begun from.
    """

    def __init__(
        self, archive: Archive, job_id: str, name: str, on_record: dict[str, Any], seen: int = 0
    ) -> None:
        self._archive, self._job_id, self._name = archive, job_id, name
        kept = archive.draft(job_id, name) or {}
        self.seen: int = kept.pop(_SEEN, seen)
        self.values: dict[str, Any] = on_record | kept

    def text(self, field: str, label: str, **options: Any) -> str:
        """A line of text, kept while it is typed."""
        key = self._key(field)
        st.text_input(
            label,
            self.values.get(field) or "",
            key=key,
            live="500ms",
            on_change=self._keep,
            args=(field, key),
            **options,
        )
        return str(self.values.get(field) or "")

    def notes(self, field: str, label: str) -> None:
        """Several lines of text."""
        key = self._key(field)
        st.text_area(
            label,
            self.values.get(field) or "",
            key=key,
            on_change=self._keep,
            args=(field, key),
            height=90,
        )

    def count(self, field: str, label: str, low: int, high: int) -> int | None:
        """A whole number."""
        key = self._key(field)
        st.number_input(
            label,
            low,
            high,
            self.values.get(field),
            step=1,
            key=key,
            on_change=self._keep,
            args=(field, key),
        )
        return self.values.get(field)

    def length(
        self, field: str, label: str, high_in: float, *, coarse: bool = False, help: str = ""
    ) -> float | None:
        """A length in the unit on show; `coarse` for sizes such as a diameter."""
        units = page_state().units
        key = f"{self._key(field)}:{units}"
        kept = self.values.get(field)
        step, digits = figures.step(units, coarse=coarse)
        st.number_input(
            f"{label} ({units})",
            0.0,
            figures.shown(high_in, units),
            None if kept is None else figures.shown(kept, units),
            step=step,
            format=f"%.{digits}f",
            key=key,
            help=help or None,
            on_change=self._keep_length,
            args=(field, key),
        )
        return self.values.get(field)

    def number(self, field: str, label: str, high: float) -> float | None:
        """A number without a length unit."""
        key = self._key(field)
        st.number_input(
            label, 0.0, high, self.values.get(field), step=0.5, format="%.1f", key=key, on_change=self._keep,
            args=(field, key),
        )  # fmt: skip
        return self.values.get(field)

    def choice(self, field: str, label: str, names: Mapping[str, str], help: str = "") -> str:
        """One of a few, all in sight."""
        key = self._key(field)
        st.segmented_control(
            label,
            list(names),
            default=self.values.get(field),
            required=True,
            format_func=names.__getitem__,
            key=key,
            help=help or None,
            on_change=self._keep,
            args=(field, key),
            width="stretch",
        )
        return str(self.values.get(field))

    def readings(self, field: str, label: str, hint: Mapping[str, str]) -> None:
        """Several lengths in one line, kept as inches; `hint` shows such a line in each unit."""
        units = page_state().units
        key = f"{self._key(field)}:{units}"

        def keep() -> None:
            read = figures.parsed(st.session_state[key], units)
            if read is not None:
                self.put(field, list(read))

        line = st.text_input(
            f"{label} ({units})",
            figures.listed(self.values.get(field) or (), units),
            key=key,
            placeholder=hint[units],
            on_change=keep,
        )
        if figures.parsed(line or "", units) is None:
            st.caption(f"! {wording.READINGS_FAULT}")

    def put(self, field: str, value: Any) -> None:
        """Set a field from code and keep it."""
        before = self.values | {_SEEN: self.seen}
        self.values[field] = value
        self._archive.merge_draft(self._job_id, self._name, before, before | {field: value})

    @property
    def is_begun(self) -> bool:
        """Whether something stands here that is not on record yet."""
        return self._archive.draft(self._job_id, self._name) is not None

    def done(self) -> None:
        """The sheet is on record: forget the draft."""
        self._archive.drop_draft(self._job_id, self._name)

    def _key(self, field: str) -> str:
        return f"{self._job_id}:{self._name}:{field}"

    def _keep(self, field: str, key: str) -> None:
        self.put(field, st.session_state[key])

    def _keep_length(self, field: str, key: str) -> None:
        value = st.session_state[key]
        self.put(field, None if value is None else figures.kept(value, page_state().units))


def save(archive: Archive, job: Job, drafts: Sequence[DraftForm], **sections: Any) -> bool:
    """Put sheets on record and forget their drafts. Where another bench changed the same sheet since,
    that is said and nothing written; pressed again, what stands on this page is kept.
    """
    key = f"{job.id}:told"
    version, told = st.session_state.get(key, (None, ()))
    seen = min(draft.seen for draft in drafts)
    try:
        archive.edit(job.id, seen=seen, over=told if version == job.version else (), **sections)
    except EditedMeanwhile as error:
        st.session_state[key] = (job.version, error.sections)
        parts.fault(error)
        st.info(wording.PRESS_AGAIN)
        return False
    st.session_state.pop(key, None)
    for draft in drafts:
        draft.done()
    return True
