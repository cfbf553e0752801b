"""HTTP routes of imports.

How are files of logs handed in over HTTP, and what became of earlier ones?
"""

from __future__ import annotations

import hashlib
import json
import tempfile
from dataclasses import asdict
from pathlib import Path as FolderPath
from typing import Annotated, Any, BinaryIO
from uuid import uuid4

from fastapi import APIRouter, File, Form, Path, Query, Request, Response, UploadFile

from solespan.api.errors import NotFound, Refused
from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    after_of,
    answer_of,
    cursor_of,
    json_answer,
    plain,
    rows_answer,
)
from solespan.api.schemas.fields import KnownId
from solespan.api.schemas.importing.imports import (
    ImportFilters,
    ImportPage,
    ImportTaken,
    PastImport,
)
from solespan.api.services.accounts.identity import Identity
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.api.services.importing.files.file_imports import ImportChoices, import_given
from solespan.api.services.importing.imports import (
    find_import,
    import_id_of,
    list_imports,
)
from solespan.api.services.importing.uploads import lay_out

__all__ = ["router"]

router = APIRouter(prefix="/v1/imports", tags=["importing"], responses=PROBLEM_ANSWERS)

MAX_FILES = 12
PIECE_BYTES = 256 * 1024


class ImportRefused(Refused):
    """The caller's files hold rows that cannot be true; `report` names each."""

    code = "import-refused"

    def __init__(self, report: dict[str, Any]) -> None:
        refused = sum(counts["refused"] for counts in report["counts"].values())
        super().__init__(
            f"{refused} rows cannot be true, so nothing was imported.",
            where="the uploaded files",
            remedy="Correct the rows in `report`, or send keep_good_rows=true to take the others.",
        )
        self.extensions = {"report": report}


@router.get("", response_model=None, responses={200: {"model": ImportPage}})
def list_past_imports(
    ctx: Context,
    request: Request,
    chosen: Annotated[ImportFilters, Query()],  # type: ignore[valid-type]
) -> Response:
    """List the imports that were taken, newest first."""
    given: dict[str, Any] = chosen.model_dump()  # type: ignore[attr-defined]
    limit = given["limit"]
    after = after_of(given["after"], [int])
    with ctx.database.reading() as session:
        rows = list_imports(session, after=after, limit=limit + 1)
    more = len(rows) > limit
    last = rows[limit - 1]["id"] if more else None
    items = [{k: v for k, v in plain(row).items() if k != "id"} for row in rows[:limit]]
    return rows_answer(request, items, cursor_of([last]) if more else None)


@router.get("/{import_id}", response_model=None, responses={200: {"model": PastImport}})
def read_import(
    ctx: Context,
    import_id: Annotated[KnownId, Path(description="the import. Unit: none (identifier)")],
) -> Response:
    """Read one import and its report."""
    with ctx.database.reading() as session:
        row = find_import(session, import_id)
    if row is None:
        raise NotFound("There is no such import.", where="import_id", remedy="List the imports.")
    return json_answer(plain(row))


@router.post("", response_model=None, status_code=201, responses={201: {"model": ImportTaken}})
def import_files(
    ctx: Context,
    request: Request,
    files: Annotated[
        list[UploadFile],
        File(
            min_length=1,
            max_length=MAX_FILES,
            description="CSV files named after their table, or any sheets as CSV, XLSX or ODS, or "
            "one ZIP of either. Unit: none (files)",
        ),
    ],
    key: IdempotencyKey,
    keep_good_rows: Annotated[
        bool, Form(description="take the good rows although others fail. Unit: true or false")
    ] = False,
    answers: Annotated[
        str,
        Form(
            max_length=100_000,
            description="answers to the questions of sheets: an object of key and choice. "
            "Unit: none (JSON)",
        ),
    ] = "{}",
    take_proposals: Annotated[
        bool, Form(description="take what is proposed where it is open. Unit: true or false")
    ] = False,
) -> Response:
    """Import files of logs, all or nothing unless `keep_good_rows`; answer the report."""
    who: Identity = request.state.identity
    choices = ImportChoices(
        _answers(answers), take_proposals, keep_good_rows, may_consent="notices" in who.may
    )

    def work() -> Answered:
        source = f"upload-{uuid4().hex}"
        with tempfile.TemporaryDirectory(prefix="solespan-") as name:
            report = _import(ctx, files, FolderPath(name), source, choices)
        with ctx.database.reading() as session:
            import_id = import_id_of(session, source)
        headers = {} if import_id is None else {"location": f"/v1/imports/{import_id}"}
        return Answered(201, {"import_id": import_id, "report": report}, headers)

    answer = ctx.idempotency.once_beside(
        "POST /v1/imports", key, _fingerprint(files, choices), work
    )
    return answer_of(answer)


def _answers(text: str) -> dict[str, str]:
    try:
        answers = json.loads(text)
    except (ValueError, RecursionError):
        answers = None
    if not isinstance(answers, dict) or not all(isinstance(a, str) for a in answers.values()):
        raise Refused(
            "answers: this is no JSON object of texts.",
            where="answers",
            accepted='an object, such as {"key": "choice"}',
            remedy="Take keys and choices from `questions` of the refusal.",
        )
    return answers


def _import(
    ctx: Context,
    files: list[UploadFile],
    folder: FolderPath,
    source: str,
    choices: ImportChoices,
) -> dict[str, Any]:
    (folder / "given").mkdir()
    limit_bytes = ctx.settings.upload_limit_bytes
    uploads = [(file.filename or "", file.file) for file in files]
    given = lay_out(uploads, folder / "given", limit_bytes=limit_bytes)
    report = import_given(
        ctx.database,
        given,
        folder,
        clock=ctx.clock,
        source=source,
        choices=choices,
        limit_bytes=limit_bytes,
    ).report
    told = report.to_dict()
    if not report.written:
        raise ImportRefused(told)
    if report.changed:
        ctx.refitter.wake(refit=True)
    return told


def _digest(stream: BinaryIO) -> bytes:
    digest = hashlib.sha256()
    while piece := stream.read(PIECE_BYTES):
        digest.update(piece)
    stream.seek(0)
    return digest.digest()


def _fingerprint(files: list[UploadFile], choices: ImportChoices) -> str:
    parts = [b"imports", json.dumps(asdict(choices), sort_keys=True).encode()]
    for file in files:
        parts.append((file.filename or "").encode())
        parts.append(_digest(file.file))
    return fingerprint_of(*parts)
