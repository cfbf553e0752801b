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
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from solespan.api.errors import BadUpload, NotFound
from solespan.api.services.context import AppContext
from solespan.api.services.importing.imports import import_files
from solespan.api.services.importing.report import ImportReport
from solespan.api.services.importing.uploads import Upload, lay_out

__all__ = ["forget", "report_of", "take", "wait_for_decision"]

KEPT_S = 3600
MOST_FINDINGS = 5000
REPORT = "report.json"
SOURCE = "upload by a form"


def wait_for_decision(ctx: AppContext, uploads: Sequence[Upload], browser: str) -> str:
    """Lay out the uploads, rehearse their import, and keep both; return the ticket.

    Nothing is written to the database. Raises `BadUpload`, `TooLarge`.
    """
    _forget_old()
    ticket = secrets.token_urlsafe(18)
    folder = _folder(ticket, browser)
    _own_root()
    folder.mkdir(mode=0o700)
    try:
        lay_out(uploads, folder, limit_bytes=ctx.settings.upload_limit_bytes)
        _keep(folder, _import(ctx, folder, keep_good_rows=False, rehearse=True))
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return ticket


def report_of(ticket: str, browser: str) -> dict[str, Any]:
    """Return the report that waits under a ticket. Raises `NotFound`."""
    folder = _known(ticket, browser)
    report: dict[str, Any] = json.loads((folder / REPORT).read_text("utf-8"))
    return report


def take(ctx: AppContext, ticket: str, browser: str, *, keep_good_rows: bool) -> dict[str, Any]:
    """Import what waits under a ticket; return the report, whose `written` tells whether it was.

    The files go once they are taken; the report stays for its hour. Raises `NotFound`.
    """
    folder = _known(ticket, browser)
    told = report_of(ticket, browser)
    if told["written"]:
        return told
    report = _import(ctx, folder, keep_good_rows=keep_good_rows, rehearse=False)
    _keep(folder, report)
    if report.written:
        for file in folder.glob("*.csv"):
            file.unlink()
        if report.changed:
            ctx.refitter.wake(refit=True)
    return report_of(ticket, browser)


def forget(ticket: str, browser: str) -> None:
    """Throw away what waits under a ticket. Raises `NotFound`."""
    shutil.rmtree(_known(ticket, browser), ignore_errors=True)


def _import(ctx: AppContext, folder: Path, *, keep_good_rows: bool, rehearse: bool) -> ImportReport:
    with ExitStack() as stack:
        return import_files(
            ctx.database,
            {path.name: stack.enter_context(path.open("rb")) for path in folder.glob("*.csv")},
            source=SOURCE,
            today=ctx.clock.today,
            keep_good_rows=keep_good_rows,
            rehearse=rehearse,
            limit_bytes=ctx.settings.upload_limit_bytes,
        )


def _keep(folder: Path, report: ImportReport) -> None:
    text = json.dumps(report.to_dict(MOST_FINDINGS), ensure_ascii=False)
    (folder / REPORT).write_text(text, "utf-8")


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
