"""Import desk service.

Where do uploaded files wait between the report on them and the decision to take them?

In a folder of their own under the machine's temporary folder, for an hour. Its name is made from an
unguessable ticket and from the browser's own token, so that no other browser can take them.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import shutil
import tempfile
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, BinaryIO

from solespan.api.errors import BadUpload, NotFound
from solespan.api.services.context import AppContext
from solespan.api.services.importing.files.file_imports import (
    ImportChoices,
    import_given,
    is_interchange,
)
from solespan.api.services.importing.files.reading_summary import ROWS, reading_summary
from solespan.api.services.importing.uploads import Given, Upload, lay_out
from solespan.api.services.interchange.report import ImportReport

__all__ = [
    "choose",
    "forget",
    "forget_file",
    "keep_file",
    "kept_file",
    "report_of",
    "rest_of",
    "rows_of",
    "take",
    "wait_for_decision",
]

KEPT_S = 3600
MOST_FINDINGS = 5000
REPORT = "report.json"
NAMES = "names.json"
GIVEN = "given"
ONE_FILE = "backup.zip"
SOURCE = "upload by a form"


def wait_for_decision(ctx: AppContext, uploads: Sequence[Upload], browser: str) -> str:
    """Lay out the uploads, rehearse their import, and keep both; return the ticket.

    Nothing is written to the database. Raises `BadUpload`, `TooLarge`.
    """
    _forget_old()
    ticket = secrets.token_urlsafe(18)
    folder = _folder(ticket, browser)
    _own_root()
    (folder / GIVEN).mkdir(mode=0o700, parents=True)
    try:
        given = lay_out(uploads, folder / GIVEN, limit_bytes=ctx.settings.upload_limit_bytes)
        names = [[one.name, one.path.name] for one in given]
        (folder / NAMES).write_text(json.dumps(names), "utf-8")
        _import(ctx, folder, ImportChoices(), rehearse=True)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return ticket


def report_of(ticket: str, browser: str) -> dict[str, Any]:
    """Return the report that waits under a ticket, with `reading` for sheets. Raises `NotFound`."""
    folder = _known(ticket, browser)
    report: dict[str, Any] = json.loads((folder / REPORT).read_text("utf-8"))
    return report


def choose(ctx: AppContext, ticket: str, browser: str, answers: Mapping[str, str]) -> bool:
    """Read the sheets again under these answers; return whether that is another reading.

    Raises `NotFound`, `Refused`.
    """
    folder = _known(ticket, browser)
    told = report_of(ticket, browser)
    reading = told["reading"]
    if told["written"] or reading is None:
        return False
    if all(reading["choices"].get(key) == answer for key, answer in answers.items()):
        return False
    _import(ctx, folder, ImportChoices(reading["answers"] | dict(answers)), rehearse=True)
    return True


def take(ctx: AppContext, ticket: str, browser: str, *, keep_good_rows: bool) -> dict[str, Any]:
    """Import what waits under a ticket; return the report, whose `written` tells whether it was.

    What the page showed as proposed is taken so. The files go once they are taken; the report and
    the rest to correct stay for their hour. Raises `NotFound`.
    """
    folder = _known(ticket, browser)
    told = report_of(ticket, browser)
    if told["written"]:
        return told
    answers = told["reading"]["answers"] if told["reading"] else {}
    choices = ImportChoices(answers, take_proposals=True, keep_good_rows=keep_good_rows)
    report = _import(ctx, folder, choices, rehearse=False)
    if report.written:
        shutil.rmtree(folder / GIVEN)
        if report.changed:
            ctx.refitter.wake(refit=True)
    return report_of(ticket, browser)


def rest_of(ticket: str, browser: str, number: int) -> tuple[str, bytes]:
    """Return the name and content of a file with the rows to correct. Raises `NotFound`."""
    folder = _known(ticket, browser)
    reading = report_of(ticket, browser)["reading"]
    rests = reading["rests"] if reading else []
    if number >= len(rests):
        raise NotFound("There is no such file.", where="the address")
    return rests[number]["name"], (folder / rests[number]["path"]).read_bytes()


def rows_of(ticket: str, browser: str) -> bytes:
    """Return what becomes of every row of the sheets, as CSV. Raises `NotFound`."""
    path = _known(ticket, browser) / ROWS
    if not path.is_file():
        raise NotFound("There is no such file.", where="the address")
    return path.read_bytes()


def forget(ticket: str, browser: str) -> None:
    """Throw away what waits under a ticket. Raises `NotFound`."""
    shutil.rmtree(_known(ticket, browser), ignore_errors=True)


def keep_file(stream: BinaryIO, browser: str) -> str:
    """Keep one file, as it is, until somebody decides; return the ticket."""
    _forget_old()
    ticket = secrets.token_urlsafe(18)
    folder = _folder(ticket, browser)
    _own_root()
    folder.mkdir(mode=0o700, parents=True)
    with (folder / ONE_FILE).open("wb") as out:
        shutil.copyfileobj(stream, out)
    return ticket


def kept_file(ticket: str, browser: str) -> Path:
    """Return where the file under a ticket lies. Raises `NotFound`."""
    path = _folder(ticket, browser) / ONE_FILE
    if not path.is_file():
        raise NotFound(
            "This file waits here no more.",
            where="the address",
            remedy="Send it again; it is kept for an hour.",
        )
    return path


def forget_file(ticket: str, browser: str) -> None:
    """Throw away the file under a ticket."""
    shutil.rmtree(_folder(ticket, browser), ignore_errors=True)


def _import(
    ctx: AppContext, folder: Path, choices: ImportChoices, *, rehearse: bool
) -> ImportReport:
    """Rehearse or take what lies in a folder, and keep what the page tells of it."""
    names = json.loads((folder / NAMES).read_text("utf-8"))
    given = [Given(name, folder / GIVEN / lies) for name, lies in names]
    with tempfile.TemporaryDirectory(dir=folder) as tables:
        done = import_given(
            ctx.database,
            given,
            Path(tables),
            clock=ctx.clock,
            source=SOURCE if is_interchange(given) else f"{SOURCE}: {_listed(given)}",
            choices=choices,
            limit_bytes=ctx.settings.upload_limit_bytes,
            rehearse=rehearse,
        )
    kept = done.report.to_dict(MOST_FINDINGS) | {"reading": reading_summary(done, folder)}
    (folder / REPORT).write_text(json.dumps(kept, ensure_ascii=False), "utf-8")
    return done.report


def _listed(given: Sequence[Given]) -> str:
    return ", ".join(one.name for one in given)


def _root() -> Path:
    user = os.getuid() if hasattr(os, "getuid") else "desk"
    return Path(tempfile.gettempdir()) / f"solespan-imports-{user}"


def _own_root() -> None:
    """Make the folder of all that waits, and refuse one that somebody else put there."""
    root = _root()
    root.mkdir(mode=0o700, exist_ok=True)
    if root.is_symlink() or (hasattr(os, "getuid") and root.stat().st_uid != os.getuid()):
        raise BadUpload(
            "The machine's temporary folder holds a folder of another user by this name.",
            where=str(root),
            accepted="a temporary folder of this program's own",
            remedy="Remove that folder, or set TMPDIR to another place, and send the files again.",
        )


def _folder(ticket: str, browser: str) -> Path:
    return _root() / hashlib.sha256(f"{ticket}\n{browser}".encode()).hexdigest()


def _known(ticket: str, browser: str) -> Path:
    folder = _folder(ticket, browser)
    if not (folder / REPORT).is_file():
        raise NotFound(
            "These files wait here no more.",
            where="the address",
            remedy="Send the files again; they are kept for an hour.",
        )
    return folder


def _forget_old() -> None:
    root = _root()
    if not root.is_dir():
        return
    for folder in root.iterdir():
        if time.time() - folder.stat().st_mtime > KEPT_S:
            shutil.rmtree(folder, ignore_errors=True)
