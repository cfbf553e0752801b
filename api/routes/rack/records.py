"""HTTP routes of records.

How are wearers, pairs, soles, wear days, checks and bench jobs reached over HTTP?

One function makes the five routes of a table, so all six behave alike: list, create, read, replace,
delete. A change brings the wearer's forecasts up to date in the same transaction.
"""
# Annotations are not postponed here: each table's models are known only when its routes are made.

import inspect
from collections.abc import Awaitable, Callable, Mapping
from typing import Annotated, Any, Literal
from urllib.parse import quote

from fastapi import APIRouter, Depends, Path, Query, Request, Response
from sqlalchemy.orm import Session

from solespan.api.routes.http.requests import (
    PROBLEM_ANSWERS,
    Context,
    IdempotencyKey,
    after_of,
    answer_of,
    cursor_of,
    etag_of,
    json_answer,
    needs_json,
    plain,
    rows_answer,
    unless_same,
    versions_in,
)
from solespan.api.schemas.fields import column_type, described
from solespan.api.schemas.rack.records import RECORDS, Record
from solespan.api.services.context import AppContext
from solespan.api.services.idempotency import Answered, fingerprint_of
from solespan.api.services.rack import records
from solespan.api.services.rack.records import list_records
from solespan.forecast.frames import Table

__all__ = ["follow", "key_reader", "record_address", "record_routers"]

Versions = Annotated[frozenset[int] | None, Depends(versions_in)]
_ETAG = {"ETag": {"description": "the version", "schema": {"type": "string"}}}
_REPLAYED = {
    "Idempotency-Replayed": {"description": "true for a replay", "schema": {"type": "string"}}
}


MOVED = "send-by-moved"
_MOVED = {
    "Send-By-Moved": {
        "description": "the pair's send-by date before and after a wear that moved it: two "
        "calendar dates, ISO 8601",
        "schema": {"type": "string"},
    }
}


def record_routers() -> list[APIRouter]:
    """Make the routes of every table."""
    return [_router(record) for record in RECORDS.values()]


def _router(record: Record) -> APIRouter:  # noqa: PLR0915 - five short routes of one table
    router = APIRouter(
        prefix=f"/v1/{record.path}", tags=[record.subject], responses=PROBLEM_ANSWERS
    )
    one = "/" + "/".join(f"{{{column}}}" for column in record.table.key)
    filters = Annotated[record.filters, Query()]  # type: ignore[name-defined]
    key_of = Annotated[dict[str, Any], Depends(key_reader(record.table))]
    key_kinds = [column_type(record.table.by_name[column]) for column in record.table.key]
    answered = {"model": record.answered, "headers": _ETAG}

    def list_all(ctx: Context, request: Request, chosen: filters) -> Response:
        given: dict[str, Any] = chosen.model_dump(exclude_none=True)
        limit = given.pop("limit")
        after = after_of(given.pop("after", None), key_kinds)
        since, until = given.pop("since", None), given.pop("until", None)
        with ctx.database.reading() as session:
            rows = list_records(
                session,
                record.name,
                equal=given,
                since=None if since is None else (record.day, since),
                until=None if until is None else (record.day, until),
                after=after,
                limit=limit + 1,
            )
        more = len(rows) > limit
        rows = rows[:limit]
        last = [rows[-1][column] for column in record.table.key] if more else []
        return rows_answer(request, rows, cursor_of(last) if more else None)

    def create(
        ctx: Context,
        body: record.created,  # type: ignore[name-defined]
        key: IdempotencyKey,
        forecast: Annotated[
            Literal["now", "later"],
            Query(
                description="whether the forecast follows in this request, or a moment later: for "
                "programs that send many rows. Unit: none (word)"
            ),
        ] = "now",
    ) -> Response:
        route = f"POST /v1/{record.path}"
        values = body.model_dump()
        left = False

        def work(session: Session) -> Answered:
            nonlocal left
            worn = values["pair_id"] if record.name == "wear_days" and forecast == "now" else ""
            was = records.send_by_of(session, worn) if worn else None
            written = records.create(session, record.name, values, ctx.clock)
            left = follow(ctx, session, written, later=forecast == "later")
            moved = records.moved_since(session, worn, was) if was else {}
            return Answered(
                201 if written.outcome == "created" else 200,
                plain(written.row),
                {
                    "etag": etag_of(written.row["version"]),
                    "location": record_address(record, written.row),
                    **({MOVED: "{was} {now}".format(**moved)} if moved else {}),
                },
            )

        fingerprint = fingerprint_of(route.encode(), body.model_dump_json().encode())
        answer = ctx.idempotency.once(route, key, fingerprint, work)
        if left:
            ctx.refitter.wake()
        return answer_of(answer)

    def read(ctx: Context, request: Request, key: key_of) -> Response:
        with ctx.database.reading() as session:
            row = records.read(session, record.name, key)
        return unless_same(request, etag_of(row["version"]), plain(row))

    def replace(
        ctx: Context,
        key: key_of,
        body: record.replaced,  # type: ignore[name-defined]
        versions: Versions,
    ) -> Response:
        with ctx.database.writing() as session:
            written = records.replace(
                session,
                record.name,
                key,
                body.model_dump(),
                versions=versions,
                clock=ctx.clock,
            )
            left = follow(ctx, session, written)
        if left:
            ctx.refitter.wake()
        row = written.row
        return json_answer(plain(row), headers={"etag": etag_of(row["version"])})

    def delete(
        ctx: Context,
        key: key_of,
        versions: Versions,
        with_all_below: Annotated[
            bool,
            Query(
                description="delete what belongs to it as well, instead of refusing. "
                "Unit: true or false"
            ),
        ] = False,
    ) -> Response:
        with ctx.database.writing() as session:
            written = records.delete(
                session, record.name, key, versions=versions, with_all_below=with_all_below
            )
            follow(ctx, session, written)
        return Response(status_code=204)

    def add(path: str, method: str, endpoint: Callable[..., Any], verb: str, **more: Any) -> None:
        router.add_api_route(
            path,
            endpoint,
            methods=[method],
            name=record.operation(verb),
            summary=f"{verb.title()} {record.one}" + ("s" if verb == "list" else ""),
            response_model=None,
            **more,
        )

    as_json = [Depends(needs_json)]
    told = _MOVED if record.name == "wear_days" else {}
    created = {"model": record.answered, "headers": _ETAG | _REPLAYED | told}
    add("", "GET", list_all, "list", responses={200: {"model": record.page}})
    add(
        "",
        "POST",
        create,
        "create",
        status_code=201,
        dependencies=as_json,
        responses={201: created, 200: {**created, "description": "It stood there already"}},
    )
    add(one, "GET", read, "read", responses={200: answered, 304: {"description": "Not modified"}})
    add(one, "PUT", replace, "replace", dependencies=as_json, responses={200: answered})
    add(one, "DELETE", delete, "delete", status_code=204)
    return router


def follow(
    ctx: AppContext, session: Session, written: records.Written, *, later: bool = False
) -> bool:
    """Bring the wearer's forecasts up to date; return whether that is left to the upkeep.

    It is left when no fit is there yet, or when it may be `later`: then they count as stale.
    """
    if written.outcome == "unchanged":
        return False
    if later:
        return True
    has_rows = ctx.forecaster.update_wearer(session, written.wearer_id)
    return not has_rows and ctx.forecaster.newest_fit(session) is None


def record_address(record: Record, row: Mapping[str, Any]) -> str:
    """Return the address of a record under /v1."""
    parts = [quote(str(row[column]), safe="") for column in record.table.key]
    return f"/v1/{record.path}/{'/'.join(parts)}"


def key_reader(table: Table) -> Callable[..., Awaitable[dict[str, Any]]]:
    """Make the dependency that reads a table's key from the path, column by column."""

    async def read_key(**key: Any) -> dict[str, Any]:
        return key

    read_key.__signature__ = inspect.Signature(  # type: ignore[attr-defined]
        [
            inspect.Parameter(
                name,
                inspect.Parameter.KEYWORD_ONLY,
                annotation=Annotated[
                    column_type(table.by_name[name]),
                    Path(description=described(table.by_name[name])),
                ],
            )
            for name in table.key
        ]
    )
    return read_key
