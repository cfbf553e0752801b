"""Pair forms service.

How does a filled-in form add a pair with its sole and wearer, or change it?

A field left empty takes the default of its construction and material. Everything a form asks is
done in the caller's transaction or not at all.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from typing import Any
from uuid import uuid4

from sqlalchemy.orm import Session

from solespan.api.schemas.edition import with_edition
from solespan.api.schemas.forms import (
    FormProblem,
    Typed,
    Values,
    millimetres,
    minor_units,
    read_record,
    text_of,
)
from solespan.api.services.context import AppContext
from solespan.api.services.planning.resole_options import keep_traits, traits_of
from solespan.api.services.rack import records
from solespan.api.services.rack.history import current_revision_id
from solespan.api.services.rack.log_forms import follow, telling
from solespan.api.services.rack.questions import ask
from solespan.api.services.rack.record_forms import refuse_stale
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.rack.records import find_record, list_records
from solespan.forecast.frames import MATERIALS
from solespan.forecast.layers.limits import default_limit_mm
from solespan.forecast.layers.thickness import GUARD_MM, usual_thickness_mm

__all__ = [
    "NEW_WEARER",
    "add_pair",
    "edit_pair",
    "read_sole",
    "sole_on",
    "values_of_pair",
]

NEW_WEARER = "new"
PAIR_FIELDS = (
    "label",
    "construction",
    "dress_code",
    "size_eu",
    "acquired_on",
    "currency",
    "earlier_resoles",
    "wears_per_week",
    "notes",
    "maker",
    "last",
    "colour",
    "form",
    "tags",
    "size_uk",
    "size_us",
    "kind",
)
MINOR = 100


def add_pair(ctx: AppContext, session: Session, typed: Typed) -> dict[str, Any]:
    """Add a pair, its sole, and its wearer where that is a new one.

    Returns `pair_id` and `needs_fit`. Raises `FormProblem` field by field.
    """
    errors: dict[str, str] = {}
    wearer = _collect(errors, lambda: _wearer(typed))
    pair = _collect(errors, lambda: _pair(typed, _new_id(), wearer.get("wearer_id", "x")))
    sole = _collect(errors, lambda: read_sole(typed, pair.get("pair_id", "x")))
    if errors:
        raise FormProblem(errors)
    ask(ctx, session, "soles", [sole], typed)
    if typed.get("wearer") == NEW_WEARER:
        with telling("wearers"):
            records.create(session, "wearers", wearer, ctx.clock)
    with telling("pairs", {"price_minor": "price", "wearer_id": "wearer"}):
        written = records.create(session, "pairs", pair, ctx.clock)
    with telling("soles"):
        records.create(session, "soles", sole, ctx.clock)
    _keep_upper(session, pair["pair_id"], typed)
    needs_fit = follow(ctx, session, written.wearer_id)
    return {"pair_id": pair["pair_id"], "needs_fit": needs_fit}


def edit_pair(ctx: AppContext, session: Session, pair_id: str, typed: Typed) -> dict[str, Any]:
    """Change a pair and the sole that is on it; return `undo`, the id of the revision.

    Raises `NotFound`, and `FormProblem`: `Overtaken` where somebody changed one meanwhile.
    """
    before = records.read(session, "pairs", {"pair_id": pair_id})
    on = sole_on(session, pair_id)
    now = partial(values_of_pair, session, pair_id)
    refuse_stale(before, typed, now=now)
    if on is not None:
        refuse_stale(on, typed, "sole_version", now=now)
    errors: dict[str, str] = {}
    pair = _collect(errors, lambda: _pair(typed, pair_id, before["wearer_id"]))
    sole: Values = {}
    if on is not None:
        fitted = {"fitted_on": on["fitted_on"].isoformat()} | dict(typed)
        sole = _collect(errors, lambda: read_sole(fitted, pair_id, on))
    if errors:
        raise FormProblem(errors)
    with telling("pairs", {"price_minor": "price"}):
        written = records.replace(
            session,
            "pairs",
            {"pair_id": pair_id},
            _without(pair, "pair_id", "wearer_id") | {"in_use_on": before["in_use_on"]},
            versions=None,
            clock=ctx.clock,
        )
    if on is not None:
        ask(ctx, session, "soles", [sole], typed, instead_of=on)
        with telling("soles"):
            records.replace(
                session,
                "soles",
                {"sole_id": on["sole_id"]},
                _without(sole, "sole_id", "pair_id"),
                versions=None,
                clock=ctx.clock,
            )
    _keep_upper(session, pair_id, typed)
    follow(ctx, session, written.wearer_id)
    return {"undo": current_revision_id()}


def values_of_pair(session: Session, pair_id: str) -> dict[str, str]:
    """Return a stored pair and the sole on it as the edit form's texts. Raises `NotFound`."""
    pair = find_record(session, "pairs", {"pair_id": pair_id})
    if pair is None:
        raise unknown_id(session, "pairs", "pair_id", pair_id)
    on = sole_on(session, pair_id)
    price = pair["price_minor"]
    out = {name: _text(pair[name]) for name in PAIR_FIELDS}
    out |= {"version": str(pair["version"])}
    out |= {"price": "" if price is None else f"{price / MINOR:.2f}"}
    out |= {"upper": traits_of(session, pair_id)["upper"], "has_sole": "yes" if on else ""}
    if on is not None:
        out |= {
            "material": on["material"],
            "thickness": f"{on['nominal_thickness_mm']:g}",
            "unit": "mm",
            "limit": _text(on["limit_mm"]),
            "fitted_on": on["fitted_on"].isoformat(),
            "sole_version": str(on["version"]),
        }
    versions = {name: out.pop(name) for name in ("version", "sole_version") if name in out}
    return with_edition(out) | versions


def read_sole(typed: Typed, pair_id: str, on: Values | None = None) -> Values:
    """Read a sole's fields; `on` is the sole that is changed. Raises `FormProblem`."""
    unit, material = typed.get("unit", "mm"), typed.get("material", "")
    known: Values = {"pair_id": pair_id, "sole_id": _new_id(), "assumed": False}
    if on is not None:
        kept = (
            "sole_id",
            *(n for n in ("cover", "channel") if not typed.get(n)),
            "removed_on",
            "continues",
        )
        known |= {name: on[name] for name in kept}
    fields = {name: millimetres(typed.get(name, ""), unit) for name in ("thickness", "limit")}
    if not fields["thickness"] and material in MATERIALS:
        guard = typed.get("cover") == "guard"
        built = typed.get("construction", ""), typed.get("kind")
        usual = GUARD_MM if guard else usual_thickness_mm(material, *built)
        fields["thickness"] = str(usual)
        known["assumed"] = True
    read = read_record("soles", {**typed, **fields}, known)
    if on is not None and on["assumed"]:  # what it is taken for is as it was
        same = ("material", "nominal_thickness_mm", "fitted_on")
        read["assumed"] = read["assumed"] or all(read[name] == on[name] for name in same)
    limit_mm = default_limit_mm(material, "ball", read["nominal_thickness_mm"], read["cover"])
    if read["limit_mm"] is None and limit_mm >= read["nominal_thickness_mm"]:
        raise FormProblem({"thickness": f"the limit of this material is {limit_mm:g} mm"})
    return read


def sole_on(session: Session, pair_id: str) -> Values | None:
    """Return the sole that is on a pair now, or None."""
    soles = list_records(session, "soles", equal={"pair_id": pair_id}, limit=500)
    on = [sole for sole in soles if sole["removed_on"] is None]
    return max(on, key=lambda sole: sole["fitted_on"]) if on else None


def _wearer(typed: Typed) -> Values:
    chosen = typed.get("wearer", "")
    if chosen and chosen != NEW_WEARER:
        return {"wearer_id": chosen}
    name = text_of(typed, "wearer_name")
    if not name:
        raise FormProblem({"wearer_name": "say who wears it"})
    known: Values = {"wearer_id": _new_id(), "name": name, "email": None, "notes": None}
    if not text_of(typed, "time_zone"):
        known["time_zone"] = None  # that of the shop
    return read_record("wearers", typed, known, {"wears_per_week": "rack_wears_per_week"})


def _pair(typed: Typed, pair_id: str, wearer_id: str) -> Values:
    if not text_of(typed, "label"):
        raise FormProblem({"label": "give it a name, such as brown derby"})
    known: Values = {"pair_id": pair_id, "wearer_id": wearer_id}
    price = text_of(typed, "price")
    if price:
        known["price_minor"] = minor_units(price)
        if not isinstance(known["price_minor"], int):
            raise FormProblem({"price": "give an amount, such as 380 or 379.50"})
    else:
        known["currency"] = None
    return read_record("pairs", typed, known)


@contextmanager
def _renamed(column: str, field: str) -> Iterator[None]:
    """Put what is wrong with a column beside its field of the form."""
    try:
        yield
    except FormProblem as problem:
        errors = {field if k == column else k: v for k, v in problem.errors.items()}
        raise FormProblem(errors) from problem


def _keep_upper(session: Session, pair_id: str, typed: Typed) -> None:
    if upper := typed.get("upper", ""):
        traits = traits_of(session, pair_id)
        if traits["upper"] != upper:
            session.flush()
            keep_traits(session, pair_id, _without(traits, "pair_id") | {"upper": upper})


def _collect(errors: dict[str, str], read: Any) -> Values:
    """Read one part of a form, so that all that is wrong is said at once."""
    try:
        values: Values = read()
    except FormProblem as problem:
        errors |= problem.errors
        return {}
    return values


def _without(values: Values, *names: str) -> Values:
    return {name: value for name, value in values.items() if name not in names}


def _text(value: Any) -> str:
    if value is None:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def _new_id() -> str:
    return uuid4().hex[:12]
