"""The error family. Each error says what was wrong, with which file or field, and what to do.

    PatternError                    exit code 1
    ├── UnreadablePhoto (ValueError)        3   a file that is no photo we can open
    ├── InvalidInput (ValueError)           5
    │   ├── InvalidAxle                     5   axle, roll or shop-kit data
    │   ├── InvalidOutline                  5   a tooth outline drawn by the user
    │   └── InvalidSettings                 5   settings file or environment
    ├── NoCorrection (ValueError)           6   no shim move satisfies the limits
    ├── ArchiveError (OSError)              7
    │   ├── ArchiveDamaged                  7   a photo or a row is missing or changed
    │   ├── ArchiveNewer                    7   written by a newer version of this program
    │   └── ArchiveUnavailable              7   full disk, read-only folder, locked file
    └── WouldOverwrite (FileExistsError)    8   the output file exists already
        └── EditedMeanwhile                 8   another bench changed the same part of a job

A photo that opens but cannot be read is *declined*: that is a `Reading`, not an error (exit code 4).
"""

from __future__ import annotations

_LONGEST = 400
"""Characters of one part of a message."""


class PatternError(Exception):
    """A known failure with a remedy.

    `what` is the fault, `subject` the file or field it was found in, `remedy` what the user can do.
    """

    exit_code = 1

    def __init__(self, what: str, *, subject: str = "", remedy: str = "") -> None:
        self.what = what
        self.subject = subject
        self.remedy = remedy
        super().__init__(self.message)

    @property
    def message(self) -> str:
        """One line: subject, fault, remedy; what cannot be printed is escaped, what is long is cut."""
        subject, what, remedy = (_shown(part) for part in (self.subject, self.what, self.remedy))
        head = f"{subject}: {what}" if subject else what
        return f"{head}. {remedy}" if remedy else f"{head}."


class UnreadablePhoto(PatternError, ValueError):
    """The file is missing, is no image, is truncated, or is larger than the pixel cap."""

    exit_code = 3


class InvalidInput(PatternError, ValueError):
    """Data given by the user contradicts itself or is outside what can exist."""

    exit_code = 5


class InvalidAxle(InvalidInput):
    """Axle, roll, reading or shop-kit data; `subject` is the field's name."""


class InvalidOutline(InvalidInput):
    """A tooth outline that is not four corners in order, crosses itself or leaves the picture."""


class InvalidSettings(InvalidInput):
    """A settings file or environment variable; `subject` is the key."""


class NoCorrection(PatternError, ValueError):
    """No move that shims can make meets the limits; the message says which limit stands in the way."""

    exit_code = 6


class ArchiveError(PatternError, OSError):
    """The job archive cannot do what was asked."""

    exit_code = 7


class ArchiveDamaged(ArchiveError):
    """A stored photo or row is missing or no longer what was stored."""


class ArchiveNewer(ArchiveError):
    """The archive was written by a newer version of this program."""


class ArchiveUnavailable(ArchiveError):
    """The place of the archive refuses: full, read-only, locked or gone."""


class WouldOverwrite(PatternError, FileExistsError):
    """The output exists already; nothing was written."""

    exit_code = 8


class EditedMeanwhile(WouldOverwrite):
    """Another bench changed the same part of a job after it was read here; nothing was written.

    `sections` are the parts, by the names that `Archive.edit` takes.
    """

    sections: tuple[str, ...] = ()


def _shown(text: str) -> str:
    """Names from a file may hold control characters, which would steer a terminal, or be endless."""
    if len(text) > _LONGEST:
        text = f"{text[: _LONGEST // 2]} … {text[-_LONGEST // 2 :]}"
    return "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text)
