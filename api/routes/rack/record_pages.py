"""Page routes of record: how is a record corrected, deleted, and seen as it was before?"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request, Response
from sqlalchemy.orm import Session

from solespan.api.errors import NotFound, SolespanError, StaleVersion
from solespan.api.routes.http.page_entry import PageEntry
from solespan.api.routes.http.pages import (
    PageRoute,
    Typed,
    Words,
    back_to,
    do_once,
    page_answer,
    refuse_foreign_form,
    told,
)
from solespan.api.routes.http.requests import Context, IdempotencyKey
from solespan.api.routes.rack.pair_pages import form_state, ours, pair_address
from solespan.api.schemas.bench.orders import OrderChange
from solespan.api.schemas.forms import FormProblem, as_columns, with_answer
from solespan.api.services.bench.order_records import delete_order, edit_order, order_seen
from solespan.api.services.context import AppContext
from solespan.api.services.rack.history import put_back, record_history
from solespan.api.services.rack.pair_page import pair_name
from solespan.api.services.rack.record_forms import (
    OWNING,
    Overtaken,
    delete_record,
    edit_record,
    fields_of,
    key_of,
    move_record,
    record_seen,
)
from solespan.api.services.rack.records import MOVABLE, list_records
from solespan.dashboards.meanwhile import changes_told
from solespan.dashboards.pages.rack.pair import FormState
from solespan.dashboards.pages.rack.record import (
    history_lines,
    record_fields,
    record_title,
    table_word,
)
from solespan.dashboards.pages.rack.record_list import month_page
from solespan.forecast.columns import Column

__all__ = ["PAGE"]

router = APIRouter(route_class=PageRoute)
ORDERS = "bench_orders"
MOST_ROWS = 20_000
MOST_OTHERS = 200
Key = dict[str, Any]


def _key(table: str, text: str) -> Key:
    """Read the key of a record from its address. Raises `NotFound`."""
    return {"order_id": text} if table == ORDERS else key_of(table, text)


def _address(table: str, key: Mapping[str, Any]) -> str:
    text = "/".join(str(part) for part in key.values())
    return f"/records/{table}/{quote(text, safe='')}"


@router.get("/pairs/{pair_id:path}/records")
def read_records(ctx: Context, request: Request, pair_id: str, month: Words = "") -> Response:
    """List everything that is logged of a pair, wear days a month at a time."""
    named = pair_name(ctx, pair_id)
    with ctx.database.reading() as session:
        rows = {
            name: list_records(session, name, equal={"pair_id": pair_id}, limit=MOST_ROWS)
            for name in ("pairs", "soles", "wear_days", "checks", "bench_jobs", "layers")
        }
    context = named | month_page(rows, month, today=date.fromisoformat(named["today_iso"]))
    return page_answer(request, "rack/records.html", context)


@router.post("/records/{table}/{text:path}/edit")
def post_edit(
    ctx: Context, request: Request, table: str, text: str, typed: Typed, once: IdempotencyKey
) -> Response:
    """Correct a record, or show the form again with what is wrong, odd, or changed meanwhile."""
    typed = with_answer(typed)
    key = _key(table, text)

    def work(session: Session) -> dict[str, Any]:
        if table == ORDERS:
            return edit_order(ctx, session, key, typed)
        return edit_record(ctx, session, table, key, typed)

    done = _done(ctx, request, table, key, typed, once, "edit", work)
    if isinstance(done, Response):
        return done
    said = "changed" if done["undo"] else "same"
    return back_to(_address(table, done["key"]), said=said, undo=done["undo"])


@router.post("/records/{table}/{text:path}/delete")
def post_delete(
    ctx: Context, request: Request, table: str, text: str, typed: Typed, once: IdempotencyKey
) -> Response:
    """Delete a record; the page after it offers to undo that."""
    key = _key(table, text)
    home = _home(ctx, table, key)

    def work(session: Session) -> dict[str, Any]:
        if table == ORDERS:
            return delete_order(ctx, session, key, typed)
        return delete_record(ctx, session, table, key, typed)

    done = _done(ctx, request, table, key, typed, once, "delete", work)
    if isinstance(done, Response):
        return done
    return back_to(home, said="deleted", undo=done["undo"])


@router.post("/records/{table}/{text:path}/move")
def post_move(
    ctx: Context, request: Request, table: str, text: str, typed: Typed, once: IdempotencyKey
) -> Response:
    """Move a wear day or a check to the pair where it belongs."""
    refuse_foreign_form(request, typed)
    key = _key(table, text)
    try:
        done = do_once(
            ctx,
            once,
            f"POST {_address(table, key)}/move",
            typed,
            lambda session: move_record(ctx, session, table, key, typed),
        )
    except Overtaken:
        return _page(ctx, request, table, key, form=None, problem=_STALE, status=409)
    except SolespanError as error:
        return _page(ctx, request, table, key, form=None, problem=told(error), status=error.status)
    if done["needs_fit"]:
        ctx.refitter.wake()
    said = "moved" if done["undo"] else "same"
    return back_to(_address(table, done["key"]), said=said, undo=done["undo"])


@router.post("/records/{table}/{text:path}/put-back")
def post_put_back(
    ctx: Context, request: Request, table: str, text: str, typed: Typed, once: IdempotencyKey
) -> Response:
    """Give a record the values that it had before one of its changes."""
    refuse_foreign_form(request, typed)
    key = _key(table, text)
    line, version = typed.get("line", ""), typed.get("version", "")

    def work(session: Session) -> dict[str, Any]:
        versions = frozenset({int(version)}) if version.isdecimal() else None
        written = put_back(ctx, session, table, key, int(line) if line.isdecimal() else 0, versions)
        return {"key": {c: str(written.row[c]) for c in key}}

    try:
        if table == ORDERS:
            raise NotFound("A booking is corrected with its form.", remedy="Use the form.")
        done = do_once(ctx, once, f"POST {_address(table, key)}/put-back", typed, work)
    except StaleVersion:
        return _page(ctx, request, table, key, form=None, problem=_STALE, status=409)
    except SolespanError as error:
        return _page(ctx, request, table, key, form=None, problem=told(error), status=error.status)
    return back_to(_address(table, done["key"]), said="back")


_STALE = "Somebody changed this record after you opened it. Look at it again, and then decide."


@router.get("/records/{table}/{text:path}")
def read_record(ctx: Context, request: Request, table: str, text: str) -> Response:
    """Show the form of a record and its history; of a deleted one, its history."""
    return _page(ctx, request, table, _key(table, text), form=None)


def _done(
    ctx: AppContext,
    request: Request,
    table: str,
    key: Key,
    typed: dict[str, str],
    once: str | None,
    verb: str,
    work: Callable[[Session], dict[str, Any]],
) -> dict[str, Any] | Response:
    try:
        ours(request, typed)
        done = do_once(ctx, once, f"POST {_address(table, key)}/{verb}", typed, work)
    except Overtaken as overtaken:
        kept = {**(overtaken.values or typed), "version": str(overtaken.version)}
        form = form_state(kept, overtaken)
        return _page(ctx, request, table, key, form=form, changes=overtaken.changes, status=409)
    except FormProblem as problem:
        return _page(ctx, request, table, key, form=form_state(typed, problem), status=422)
    if done["needs_fit"]:
        ctx.refitter.wake()
    return done


def _home(ctx: AppContext, table: str, key: Key) -> str:
    """Return the page that a deleted record was reached from."""
    if table in OWNING:
        return "/"
    if table == ORDERS:
        return "/bench"
    pair_id = key.get("pair_id")
    if pair_id is None:
        with ctx.database.reading() as session:
            pair_id = record_seen(session, table, key)["row"]["pair_id"]
    return pair_address(pair_id, "records")


def _page(
    ctx: AppContext,
    request: Request,
    table: str,
    key: Key,
    *,
    form: FormState | None,
    problem: str = "",
    changes: Sequence[Any] = (),
    status: int = 200,
) -> Response:
    with ctx.database.reading() as session:
        kept = record_history(session, table, key)
        there = kept["now"] is not None
        seen: dict[str, Any] = {"row": kept["now"] or _last(kept), "values": {}, "below": {}}
        if there:
            seen = (
                order_seen(session, key["order_id"])
                if table == ORDERS
                else record_seen(session, table, key)
            )
        pair_id = seen["row"].get("pair_id") or key.get("pair_id") or ""
        pairs = list_records(session, "pairs", equal={"pair_id": pair_id}, limit=1)
        others = _others(session, pairs[0]) if there and pairs and table in MOVABLE else []
    pair = (pairs[0]["label"] or pair_id) if pairs and table != "pairs" else ""
    row = {**seen["row"], **key}
    title = record_title(table, row, pair) if table != "pairs" else row.get("label") or pair_id
    columns: Mapping[str, Column] = (
        as_columns(OrderChange, {"price_minor": "price"}) if table == ORDERS else fields_of(table)
    )
    context = {
        "form": form or FormState(seen["values"]),
        "fields": record_fields(columns) if there and table != "pairs" else [],
        "has_unit": any(c.unit == "mm" for c in columns.values()),
        "table": table,
        "word": table_word(table),
        "address": _address(table, key),
        "title": title,
        "pair_id": pair_id if pairs else "",
        "there": there,
        "version": str(seen["row"].get("version", "")),
        "below": [(table_word(name, n), n) for name, n in seen["below"].items()],
        "must_confirm": table in OWNING,
        "can_put_back": table != ORDERS,
        "can_move": there and table in MOVABLE,
        "others": others,
        "problem": problem,
        "entries": history_lines(kept["entries"], list(key)),
        "meanwhile": changes_told(changes, kept["entries"][0] if kept["entries"] else None, {})
        if changes
        else None,
    }
    return page_answer(request, "rack/record.html", context, status)


def _others(session: Session, pair: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return the other pairs of the same wearer: id and name."""
    same = {"wearer_id": pair["wearer_id"]}
    rows = list_records(session, "pairs", equal=same, limit=MOST_OTHERS)
    others = (row for row in rows if row["pair_id"] != pair["pair_id"])
    return [(row["pair_id"], row["label"] or row["pair_id"]) for row in others]


def _last(kept: Mapping[str, Any]) -> dict[str, Any]:
    """Return the last known values of a record that is gone."""
    return next((e["before"] for e in kept["entries"] if e["before"]), {})


PAGE = PageEntry(router)
