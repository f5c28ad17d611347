"""What jobs are called: J0042 is job number 42."""

from __future__ import annotations

from pattern.errors import InvalidInput


def job_id(number: int) -> str:
    """J0042 for job number 42."""
    return f"J{number:04d}"


def job_number(text: str) -> int:
    """42 for J0042, j42 or 42. Raises InvalidInput."""
    digits = str(text).strip().upper().removeprefix("J")
    if not (digits.isascii() and digits.isdigit() and len(digits) < 10):
        raise InvalidInput(
            "is no job number", subject=str(text), remedy="Give one as in J0042; see `job list`"
        )
    return int(digits)


def no_such_job(number: int) -> InvalidInput:
    """The error for a job number that is not on record."""
    return InvalidInput(
        "there is no such job", subject=job_id(number), remedy="See `contact-pattern job list`"
    )
