"""Register of failures: kind, status, title, meaning and remedy, for the service and its errors.

Every error answer is a problem document (RFC 9457): `type` is the relative address of an entry of
`PROBLEMS`, which `/problems/<name>` explains in words. An error of `api.errors` names its entry.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["PROBLEMS", "ProblemKind", "kind_of_status"]


@dataclass(frozen=True)
class ProblemKind:
    """One kind of failure: its status, a short title, what happened, and the remedy."""

    name: str
    status: int
    title: str
    meaning: str
    remedy: str

    @property
    def uri(self) -> str:
        """The relative URI that names this kind and explains it."""
        return f"/problems/{self.name}"


_KINDS = (
    ProblemKind(
        "bad-request",
        400,
        "The request cannot be read",
        "The request is not well-formed HTTP, JSON or form data.",
        "Check the syntax of the body and of the headers.",
    ),
    ProblemKind(
        "malformed-key",
        400,
        "The Idempotency-Key cannot be read",
        "The header is a quoted string of 1 to 128 printable characters; a bare key is accepted.",
        'Send for example Idempotency-Key: "8e03978e-40d5-43dd-bc93-6894a57f9324".',
    ),
    ProblemKind(
        "unknown-host",
        400,
        "This address is not served here",
        "The Host header names none of the hosts this service was started for.",
        "Use the address the service printed when it started.",
    ),
    ProblemKind(
        "cross-site",
        403,
        "Changes from another site are refused",
        "The browser says that a page of another site sent this request.",
        "Send changes from the service's own pages, or from a program without Origin.",
    ),
    ProblemKind(
        "not-signed-in",
        401,
        "You are not signed in",
        "This address needs a session or an API token that is in use.",
        "Sign in at /sign-in, or send Authorization: Bearer with a token.",
    ),
    ProblemKind(
        "sign-in-refused",
        401,
        "Not signed in",
        "The e-mail address or the password is wrong. We do not say which.",
        "Try again, or ask an owner for a new invitation.",
    ),
    ProblemKind(
        "not-allowed",
        403,
        "This sender may not do that",
        "The role of the person, or the scopes of the token, do not reach this far.",
        "Ask an owner.",
    ),
    ProblemKind(
        "second-factor-needed",
        403,
        "A second factor is needed here",
        "This shop asks its members for a second factor, and the person has none yet.",
        "Add one on the page /account/second-factor.",
    ),
    ProblemKind(
        "not-found",
        404,
        "Page not found",
        "The address is unknown, or the record it names does not exist.",
        "Check the id; lists of all records are under /v1.",
    ),
    ProblemKind(
        "method-not-allowed",
        405,
        "This address does not take that method",
        "The Allow header lists the methods it takes.",
        "Use one of the methods in Allow.",
    ),
    ProblemKind(
        "too-slow",
        408,
        "The request came too slowly",
        "The head or the body of the request was not there in time; nothing was changed.",
        "Send it again, all at once.",
    ),
    ProblemKind(
        "conflict",
        409,
        "The stored records do not allow this",
        "A record with this key exists with other values, or other records depend on it.",
        "Read the record, then replace it with If-Match, or remove what depends on it first.",
    ),
    ProblemKind(
        "request-running",
        409,
        "A request with this Idempotency-Key is still running",
        "The same key came again, and the first request was not answered in the time we wait.",
        "Wait as long as Retry-After says and send the same request again.",
    ),
    ProblemKind(
        "nothing-forecast",
        409,
        "There is no forecast yet",
        "A forecast needs a fit, and at least one pair with a sole on it.",
        "Add a pair and its sole, or import a folder of logs; then fit: POST /v1/fit.",
    ),
    ProblemKind(
        "link-over",
        410,
        "The time of this link is over",
        "The link was good for some days, which have passed.",
        "Get in touch with the shop.",
    ),
    ProblemKind(
        "stale-version",
        412,
        "The record has changed since it was read",
        "If-Match names another version than the stored one; nothing was changed.",
        "Read the record again, decide again, and send its new ETag in If-Match.",
    ),
    ProblemKind(
        "too-large",
        413,
        "The request is too large",
        "The body, an uploaded file, or what an archive unpacks to is over the limit.",
        "Send smaller parts, or import the folder with the command line.",
    ),
    ProblemKind(
        "unsupported-media-type",
        415,
        "This kind of body is not accepted",
        "Records are sent as application/json, imports as multipart/form-data.",
        "Set Content-Type to the kind of body that is sent.",
    ),
    ProblemKind(
        "invalid-input",
        422,
        "Some values are not accepted",
        "The request was read, but fields in it are unknown, missing or cannot be true.",
        "Correct the fields listed in `errors` and send the request again; nothing was changed.",
    ),
    ProblemKind(
        "key-reused",
        422,
        "This Idempotency-Key was used for another request",
        "A key belongs to one request; the body or address sent now is a different one.",
        "Make a new key for each new request.",
    ),
    ProblemKind(
        "bad-upload",
        422,
        "The files cannot be read",
        "The upload holds no table that can be read: CSV, XLSX or ODS, or one ZIP of them.",
        "Correct the file named and send all files again; nothing was imported.",
    ),
    ProblemKind(
        "import-questions",
        422,
        "The sheets leave questions open",
        "The files are no interchange folder, and what they leave open was not answered.",
        "Answer each key of `questions` in `answers`, or send take_proposals=true.",
    ),
    ProblemKind(
        "import-refused",
        422,
        "Some rows cannot be true, so nothing was imported",
        "The member `report` lists each refused row: file, line, column, value, why, accepted.",
        "Correct the rows, or send keep_good_rows=true to import the others.",
    ),
    ProblemKind(
        "version-required",
        428,
        "A change must name the version it changes",
        "The header If-Match is missing.",
        "Read the record and send its ETag in If-Match.",
    ),
    ProblemKind(
        "head-too-large",
        431,
        "The head of the request is too large",
        "The address, or the headers together, are over the limit.",
        "Send fewer or shorter headers; delete the cookies of this address.",
    ),
    ProblemKind(
        "too-fast",
        429,
        "Too many changes in a minute",
        "One sender may make so many changes in a minute as the operator has set.",
        "Wait as long as Retry-After says.",
    ),
    ProblemKind(
        "busy-with-others",
        429,
        "The service also works for other shops",
        "This shop has used its share of the processor, and others are at work.",
        "Wait as long as Retry-After says, then send the same again.",
    ),
    ProblemKind(
        "too-many-tries",
        429,
        "Too many tries",
        "Too many sign-ins failed from this network address.",
        "Wait as long as the answer says.",
    ),
    ProblemKind(
        "internal-error",
        500,
        "The service failed",
        "This is a fault of the service, not of the request; nothing was changed.",
        "Try again; if it stays, give the operator the request id of this answer.",
    ),
    ProblemKind(
        "unavailable",
        503,
        "The service is not ready",
        "The database does not answer, or is busy for longer than the service waits.",
        "Try again in a few seconds.",
    ),
    ProblemKind(
        "busy",
        503,
        "Another writer holds the database",
        "The database stayed locked for longer than the service waits; nothing was changed.",
        "Try again in a few seconds; stop other programs that write to the same file.",
    ),
)

PROBLEMS: dict[str, ProblemKind] = {kind.name: kind for kind in _KINDS}
# The first kind of a status stands for it.
_BY_STATUS = {kind.status: kind for kind in reversed(_KINDS)}


def kind_of_status(status: int) -> ProblemKind:
    """The kind for an error that only has an HTTP status, as the framework raises them."""
    fallback = PROBLEMS["internal-error" if status >= 500 else "bad-request"]
    return _BY_STATUS.get(status, fallback)
