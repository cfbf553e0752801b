"""Errors at the program's edge: what can go wrong, whose turn it is, and what to do about it?

Every error says what is wrong, where, what is accepted and what to do. Its `code`
names an entry of `api.problems.PROBLEMS`, which gives status and title; the command line prints the
same four sentences and exits with 2.
"""

from __future__ import annotations

from solespan.api.problems import PROBLEMS

__all__ = [
    "BadSetting",
    "BadUpload",
    "Busy",
    "Conflict",
    "DatabaseTooNew",
    "DatabaseUnavailable",
    "MissingDriver",
    "NotFound",
    "NothingForecast",
    "Refused",
    "SolespanError",
    "StaleVersion",
    "TooLarge",
]


class SolespanError(Exception):
    """Something could not be done; nothing was changed.

    Parameters
    ----------
    what : str
        What is wrong, one sentence.
    where : str
        The place: a file, line and column, a field, a setting, a route.
    accepted : str
        What would have been accepted there.
    remedy : str
        What to do now.
    """

    code = "internal-error"

    @property
    def status(self) -> int:
        """HTTP status."""
        return PROBLEMS[self.code].status

    @property
    def title(self) -> str:
        """Heading of a page that tells it."""
        return PROBLEMS[self.code].title

    def __init__(self, what: str, *, where: str = "", accepted: str = "", remedy: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.accepted = accepted
        self.remedy = remedy

    def told(self) -> list[str]:
        """Say to the sender of a request what is wrong and what to do."""
        return [self.what, self.remedy]

    def lines(self) -> list[str]:
        """Return the error as the lines that a person reads, most important first."""
        labelled = (
            ("where", self.where),
            ("accepted", self.accepted),
            ("what to do", self.remedy),
        )
        return [self.what, *(f"{label}: {text}" for label, text in labelled if text)]


class NotFound(SolespanError):
    """The caller named something that is not there."""

    code = "not-found"


class Conflict(SolespanError):
    """The caller wants something that another row already has, or that is being done now."""

    code = "conflict"


class StaleVersion(Conflict):
    """The caller edits a row that someone changed since it was read."""

    code = "stale-version"
    status = 409  # on a page; an answer to If-Match has one of its own (RFC 9110, 15.5.13)


class Refused(SolespanError):
    """What the caller sent is readable but cannot be true; `accepted` says what can."""

    code = "invalid-input"


class BadUpload(SolespanError):
    """The files handed in cannot be read as the interchange folder; nothing was taken."""

    code = "bad-upload"


class TooLarge(SolespanError):
    """What was sent is larger than this program takes at once."""

    code = "too-large"


class NothingForecast(SolespanError):
    """There is no forecast yet; one command makes it."""

    code = "nothing-forecast"


class Busy(SolespanError):
    """Another writer held the database for too long; trying again is safe."""

    code = "busy"


class DatabaseUnavailable(SolespanError):
    """The database cannot be opened; the operator must look at the address or the server.

    The operator reads the driver's reason in the terminal and in the log; senders do not.
    """

    code = "unavailable"

    def told(self) -> list[str]:
        """Say what a sender may know: nothing of the address, the server or the driver."""
        return [PROBLEMS[self.code].meaning, PROBLEMS[self.code].remedy]


class DatabaseTooNew(DatabaseUnavailable):
    """A newer program made this database; this one would not understand it."""


class MissingDriver(DatabaseUnavailable):
    """The driver for this kind of database is not installed."""


class BadSetting(SolespanError):
    """A setting holds what cannot be used; the operator must change it."""
