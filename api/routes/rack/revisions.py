"""HTTP routes of revisions: what was changed lately, and how is a change or an import undone?"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response
from sqlalchemy.orm import Session

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
from solespan.api.schemas.rack.revisions import RevisionFilters, RevisionPage, Undone
from solespan.api.services.context import AppContext
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.api.services.rack.history import list_changes, undo, undo_import

__all__ = ["history_answer", "router", "undone_answer"]

router = APIRouter(prefix="/v1", tags=["rack"], responses=PROBLEM_ANSWERS)
UNDONE: dict[str, Any] = {"response_model": None, "responses": {200: {"model": Undone}}}


@router.get("/revisions", response_model=None, responses={200: {"model": RevisionPage}})
def list_revisions(
    ctx: Context,
    request: Request,
    chosen: Annotated[RevisionFilters, Query()],  # type: ignore[valid-type]
) -> Response:
    """List what was changed in the last 30 days, newest first."""
    given: dict[str, Any] = chosen.model_dump()  # type: ignore[attr-defined]
    limit, after = given["limit"], after_of(given["after"], [int])
    with ctx.database.reading() as session:
        found = list_changes(
            session,
            below_id=after[0] if after else None,
            limit=limit + 1,
            only="deletions" if given["deletions"] else "",
        )
    more = len(found) > limit
    items = [_answer(one) for one in found[:limit]]
    last = found[limit - 1]["id"] if more else None
    return rows_answer(request, items, cursor_of([last]) if more else None)


def history_answer(told: dict[str, Any]) -> Response:
    """Answer a record's history as JSON values."""
    entries = [
        plain(entry) | {side: _values(entry[side]) for side in ("before", "after")}
        for entry in told["entries"]
    ]
    return json_answer({"key": told["key"], "now": _values(told["now"]), "entries": entries})


def _values(row: dict[str, Any] | None) -> dict[str, Any] | None:
    return None if row is None else plain(row)


def _answer(one: dict[str, Any]) -> dict[str, Any]:
    parts = [
        {k: part[k] for k in ("table", "kind", "rows", "record_key", "label")}
        for part in one["parts"]
    ]
    return plain({k: v for k, v in one.items() if k != "id"} | {"parts": parts})


def undone_answer(
    ctx: AppContext, key: str | None, what: str, work: Callable[[Session], dict[str, Any]]
) -> Response:
    """Undo `what` once in one transaction, and answer the revision that did it."""
    left = False

    def answered(session: Session) -> Answered:
        nonlocal left
        done = work(session)
        left = done["needs_fit"]
        return Answered(200, {"revision_id": done["revision_id"]})

    fingerprint = fingerprint_of(what.encode())
    # the stored column for a route is shorter than a key may be
    answer = ctx.idempotency.once(f"undo {fingerprint}", key, fingerprint, answered)
    if left:
        ctx.refitter.wake()
    return answer_of(answer)


@router.post("/revisions/{revision_id}/undo", **UNDONE)
def undo_revision(
    ctx: Context,
    revision_id: Annotated[KnownId, Path(description="the revision. Unit: none (identifier)")],
    key: IdempotencyKey,
) -> Response:
    """Undo everything that a revision did, unless a later change stands on it."""
    return undone_answer(ctx, key, revision_id, lambda session: undo(ctx, session, revision_id))


@router.post("/imports/{import_id}/undo", **UNDONE)
def undo_whole_import(
    ctx: Context,
    import_id: Annotated[KnownId, Path(description="the import. Unit: none (identifier)")],
    key: IdempotencyKey,
) -> Response:
    """Undo a whole import, unless a later change stands on it."""
    return undone_answer(ctx, key, import_id, lambda session: undo_import(ctx, session, import_id))
