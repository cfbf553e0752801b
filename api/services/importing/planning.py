"""Planning service: which good rows are new, which change something, and how are they written?

Rows are equal when every column is equal, so the same folder twice changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.services.interchange.drafts import Draft
from solespan.api.services.interchange.reference_data import KnownRecords
from solespan.api.storage.importing.bulk import insert_rows, pks_by_id, update_rows
from solespan.forecast.frames import TABLES, Column

__all__ = ["Plan", "make_plan", "write_plan"]

OWNER = {"pairs": "wearer_id"}  # the other tables belong to a pair


@dataclass(frozen=True)
class Plan:
    """Rows to insert and rows to change (with their `pk`) of one table."""

    name: str
    new: pd.DataFrame
    updated: pd.DataFrame
    unchanged: int
    columns: list[Column]


def make_plan(world: KnownRecords, draft: Draft, extra_updates: pd.DataFrame | None = None) -> Plan:
    """Compare the good rows of a file with what is stored.

    extra_updates are further rows to change, with `pk` and every stored column.
    """
    table = draft.table
    key = list(table.key)
    others = [c for c in table.stored if c.name not in key]
    stored = world.stored[table.name]
    taken = draft.taken
    known = stored.set_index(key)[[*(c.name for c in others), "pk"]]
    beside = taken[key].join(known, on=key) if len(known) else taken[key].assign(pk=np.nan)
    is_known = beside["pk"].notna().to_numpy()
    changed = np.zeros(len(taken), dtype=bool)
    if is_known.any():
        for column in others:
            changed |= _differ(taken[column.name], beside[column.name], column)
    updated = taken[is_known & changed].assign(pk=beside["pk"][is_known & changed].astype(int))
    if extra_updates is not None and len(extra_updates):
        updated = pd.concat([updated, extra_updates]) if len(updated) else extra_updates
    return Plan(
        table.name,
        taken[~is_known],
        updated,
        int((is_known & ~changed).sum()),
        others,
    )


def _differ(ours: pd.Series[Any], theirs: pd.Series[Any], column: Column) -> Any:
    if column.kind in ("date", "number", "integer"):
        a, b = ours.to_numpy(), theirs.to_numpy()
        return (a != b) & ~(pd.isna(a) & pd.isna(b))
    a, b = ours.to_numpy(dtype=object), theirs.to_numpy(dtype=object)
    return (a != b) & ~(pd.isna(a) & pd.isna(b))


def write_plan(session: Session, plans: dict[str, Plan], world: KnownRecords) -> set[str]:
    """Insert and update everything, wearers first; return the wearers whose data change.

    The caller gives them a new data version when all is written.
    """
    touched = _touched_wearers(plans, world)
    _insert_unnamed_wearers(session, plans, world)
    for name in TABLES:
        if name in plans:
            _write_table(session, plans[name])
    return touched


def _touched_wearers(plans: dict[str, Plan], world: KnownRecords) -> set[str]:
    touched: set[str] = set()
    for name, plan in plans.items():
        for rows in (plan.new, plan.updated):
            if name in ("wearers", "pairs"):
                touched |= set(rows["wearer_id"])
            if name != "wearers":
                pairs = set(rows["pair_id"])
                touched |= {world.wearer_of_pair[pair] for pair in pairs}
                if name == "pairs":  # a pair that changes hands concerns both
                    old = world.stored["pairs"]
                    touched |= set(old.loc[old["pair_id"].isin(list(pairs)), "wearer_id"])
    return touched


def _insert_unnamed_wearers(session: Session, plans: dict[str, Plan], world: KnownRecords) -> None:
    """Add the wearers whom only pairs.csv names."""
    if "pairs" not in plans:
        return
    named = set(plans["pairs"].new["wearer_id"]) | set(plans["pairs"].updated["wearer_id"])
    known = set(world.stored["wearers"]["wearer_id"])
    if "wearers" in plans:
        known |= set(plans["wearers"].new["wearer_id"])
    insert_rows(
        session,
        "wearers",
        [{"wearer_id": text, "time_zone": world.shop_zone} for text in sorted(named - known)],
    )


def _write_table(session: Session, plan: Plan) -> None:
    table = TABLES[plan.name]
    if len(plan.new):
        insert_rows(session, plan.name, _to_rows(session, plan.new, list(table.stored), plan.name))
    if len(plan.updated):
        changes = [c for c in plan.columns if c.name != "pair_id"]
        rows = _to_rows(session, plan.updated, changes, plan.name)
        pks = plan.updated["pk"].tolist()
        update_rows(
            session,
            plan.name,
            [{"pk": int(pk), **row} for pk, row in zip(pks, rows, strict=True)],
        )


def _to_rows(
    session: Session, frame: pd.DataFrame, columns: list[Column], name: str
) -> list[dict[str, Any]]:
    values = {c.name: _to_python(frame[c.name], c) for c in columns}
    owner = OWNER.get(name, "pair_id")
    if name != "wearers" and owner in values:
        ids = values.pop(owner)
        pks = pks_by_id(session, "wearers" if owner == "wearer_id" else "pairs", set(ids))
        values[f"{owner.removesuffix('_id')}_pk"] = [pks[text] for text in ids]
    names = list(values)
    return [dict(zip(names, row, strict=True)) for row in zip(*values.values(), strict=True)]


def _to_python(values: pd.Series[Any], column: Column) -> list[Any]:
    """Turn a column into what the database driver takes; missing is None."""
    if column.kind == "date":
        days: list[Any] = values.to_numpy().astype("datetime64[D]").astype(object).tolist()
        return days
    if column.kind == "number":
        return [None if value != value else value for value in values.tolist()]  # noqa: PLR0124
    if column.kind == "integer":
        return [None if value != value else int(value) for value in values.tolist()]  # noqa: PLR0124
    if column.kind == "flag":
        return [bool(value) for value in values]
    return [None if value is None or value != value else value for value in values]  # noqa: PLR0124
