"""HTTP routes of corrections: how is a record corrected in part, traced back, and restored?

One function makes the three routes of a table, so all six behave alike.
"""
# Annotations are not postponed here: each table's models are known only when its routes are made.

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Response
from sqlalchemy.orm import Session

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    etag_of,
    json_answer,
    needs_json,
    needs_patch,
    plain,
    versions_in,
)
from solespan.api.routes.rack.records import follow, key_reader, record_address
from solespan.api.routes.rack.revisions import history_answer, undone_answer
from solespan.api.schemas.rack.records import RECORDS, Record
from solespan.api.schemas.rack.revisions import OtherPair, RecordHistory, Undone
from solespan.api.services.rack import records
from solespan.api.services.rack.history import key_text, record_history, restore

__all__ = ["correction_routers"]

Versions = Annotated[frozenset[int] | None, Depends(versions_in)]


def correction_routers() -> list[APIRouter]:
    """Make the routes of every table."""
    return [_router(record) for record in RECORDS.values()]


def _router(record: Record) -> APIRouter:
    router = APIRouter(
        prefix=f"/v1/{record.path}", tags=[record.subject], responses=PROBLEM_ANSWERS
    )
    one = "/" + "/".join(f"{{{column}}}" for column in record.table.key)
    key_of = Annotated[dict[str, Any], Depends(key_reader(record.table))]

    def amend(
        ctx: Context,
        key: key_of,
        body: record.amended,  # type: ignore[name-defined]
        versions: Versions,
    ) -> Response:
        """Correct some values by a JSON merge patch (RFC 7396); null = the default.

        A day, foot, point or method of the key may change.
        """
        given = body.model_dump(exclude_unset=True)
        defaults = {name: record.table.by_name[name].default for name in given}
        values = {name: defaults[name] if v is None else v for name, v in given.items()}
        with ctx.database.writing() as session:
            written = records.replace(
                session, record.name, key, values, versions=versions, clock=ctx.clock
            )
            left = follow(ctx, session, written)
        if left:
            ctx.refitter.wake()
        row = written.row
        headers = {"etag": etag_of(row["version"]), "location": record_address(record, row)}
        return json_answer(plain(row), headers=headers)

    def history(ctx: Context, key: key_of) -> Response:
        """Read how a record was changed in the last 30 days, also a deleted one."""
        with ctx.database.reading() as session:
            return history_answer(record_history(session, record.name, key))

    def bring_back(ctx: Context, key: key_of, once: IdempotencyKey) -> Response:
        """Restore a deleted record with all that was deleted along."""
        text = key_text(record.name, key)

        def work(session: Session) -> dict[str, Any]:
            return restore(ctx, session, record.name, text)

        return undone_answer(ctx, once, f"{record.name}/{text}", work)

    def move(ctx: Context, key: key_of, body: OtherPair, versions: Versions) -> Response:
        """Move it to the pair on which it was to be logged."""
        with ctx.database.writing() as session:
            written, wearers = records.move(
                session, record.name, key, body.pair_id, versions=versions, clock=ctx.clock
            )
            left = [follow(ctx, session, replace(written, wearer_id=one)) for one in wearers]
        if any(left):
            ctx.refitter.wake()
        row = written.row
        headers = {"etag": etag_of(row["version"]), "location": record_address(record, row)}
        return json_answer(plain(row), headers=headers)

    body_kinds = {"PATCH": needs_patch, "PUT": needs_json}
    moving = ((f"{one}/pair", "PUT", move, "move", record.answered),)
    for path, method, endpoint, verb, model in (
        *(moving if record.name in records.MOVABLE else ()),
        (one, "PATCH", amend, "amend", record.answered),
        (f"{one}/history", "GET", history, "trace", RecordHistory),
        (f"{one}/restore", "POST", bring_back, "restore", Undone),
    ):
        router.add_api_route(
            path,
            endpoint,
            methods=[method],
            name=record.operation(verb),
            summary=f"{verb.title()} {record.one}",
            response_model=None,
            dependencies=[Depends(body_kinds[method])] if method in body_kinds else [],
            responses={200: {"model": model}},
        )
    return router
