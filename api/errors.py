"""Errors of the service.

What can go wrong at the program's edge, whose turn it is, and what to do about it?

Every error says what is wrong, where, what is accepted and what to do. The service answers with
`status` and `code` (RFC 9457); the command line prints the same four sentences and exits with 2.
"""

from __future__ import annotations

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

    status: int = 500
    code: str = "error"
    title: str = "Something could not be done"

    def __init__(self, what: str, *, where: str = "", accepted: str = "", remedy: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.accepted = accepted
        self.remedy = remedy

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

    status = 404
    code = "not-found"
    title = "Not found"


class Conflict(SolespanError):
    """The caller wants something that another row already has, or that is being done now."""

    status = 409
    code = "conflict"
    title = "Already taken"


class StaleVersion(Conflict):
    """The caller edits a row that someone changed since it was read."""

    code = "stale-version"
    title = "Changed by someone else"


class Refused(SolespanError):
    """What the caller sent is readable but cannot be true; `accepted` says what can."""

    status = 422
    code = "refused"
    title = "Cannot be true"


class BadUpload(SolespanError):
    """The files handed in cannot be read as the interchange folder; nothing was taken."""

    status = 422
    code = "bad-upload"
    title = "The files cannot be read"


class TooLarge(SolespanError):
    """What was sent is larger than this program takes at once."""

    status = 413
    code = "too-large"
    title = "Too large"


class NothingForecast(SolespanError):
    """There is no forecast yet; one command makes it."""

    status = 409
    code = "nothing-forecast"
    title = "No forecast yet"


class Busy(SolespanError):
    """Another writer held the database for too long; trying again is safe."""

    status = 503
    code = "busy"
    title = "Busy"


class DatabaseUnavailable(SolespanError):
    """The database cannot be opened; the operator must look at the address or the server."""

    status = 503
    code = "database-unavailable"
    title = "The database cannot be reached"


class DatabaseTooNew(DatabaseUnavailable):
    """A newer program made this database; this one would not understand it."""

    code = "database-too-new"
    title = "The database is newer than the program"


class MissingDriver(DatabaseUnavailable):
    """The driver for this kind of database is not installed."""

    code = "missing-driver"
    title = "A driver is missing"


class BadSetting(SolespanError):
    """A setting holds what cannot be used; the operator must change it."""

    code = "bad-setting"
    title = "A setting cannot be used"
