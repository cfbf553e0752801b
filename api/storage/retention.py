"""Retention storage: what is old enough to go, of one tenant?

Decisions about notices stay, as nobody may be told the same twice; what was written goes.
"""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.orm import Session

from solespan.api.channels import ON_PAPER
from solespan.api.storage.importing.import_runs import emptied_report
from solespan.api.storage.tables.bench import BenchPlan
from solespan.api.storage.tables.notices import Consent, Outbox
from solespan.api.storage.tables.planning import RackPlanRow
from solespan.api.storage.tables.results import ImportRun

__all__ = [
    "empty_import_reports_before",
    "empty_notices_before",
    "forget_plans_before",
    "forget_withdrawn_before",
]

GONE = "(no longer kept)"
_IMPORTS: sa.Table = ImportRun.__table__  # type: ignore[assignment]
_OUTBOX: sa.Table = Outbox.__table__  # type: ignore[assignment]
_CONSENTS: sa.Table = Consent.__table__  # type: ignore[assignment]
_SHOP_PLANS: sa.Table = BenchPlan.__table__  # type: ignore[assignment]
_RACK_PLANS: sa.Table = RackPlanRow.__table__  # type: ignore[assignment]


def empty_notices_before(session: Session, moment: datetime) -> int:
    """Empty what was written in notices that were done with before `moment`; return how many.

    A letter that nobody has printed is not done with. A notice that failed is given up.
    """
    unprinted = _OUTBOX.c.channel.in_(ON_PAPER) & _OUTBOX.c.printed_at.is_(None)
    over = _OUTBOX.c.state.in_(("cancelled", "failed")) | ((_OUTBOX.c.state == "sent") & ~unprinted)
    query = sa.select(_OUTBOX.c.id, _OUTBOX.c.state, _OUTBOX.c.payload)
    emptied = 0
    for row in session.execute(query.where(_OUTBOX.c.done_at < moment, over)).all():
        if row.payload["text"] == GONE:
            continue
        written = {"subject": GONE, "text": GONE, "html": "", "unsubscribe": ""}
        state = "cancelled" if row.state == "failed" else row.state
        values = {"payload": row.payload | written, "state": state, "problem": None}
        session.execute(sa.update(_OUTBOX).where(_OUTBOX.c.id == row.id).values(values))
        emptied += 1
    return emptied


def empty_import_reports_before(session: Session, moment: datetime) -> int:
    """Leave only the counts of imports older than `moment`; return how many were emptied."""
    query = sa.select(_IMPORTS.c.id, _IMPORTS.c.report).where(_IMPORTS.c.imported_at < moment)
    emptied = 0
    for row in session.execute(query).all():
        if row.report.get("rows") or row.report.get("assumed"):
            change = sa.update(_IMPORTS).where(_IMPORTS.c.id == row.id)
            session.execute(change.values(report=emptied_report(row.report)))
            emptied += 1
    return emptied


def forget_plans_before(session: Session, moment: datetime) -> int:
    """Delete plans older than `moment`, but not the newest of the shop or of a wearer."""
    newest_shop = sa.select(sa.func.max(_SHOP_PLANS.c.id)).scalar_subquery()
    newest_rack = sa.select(sa.func.max(_RACK_PLANS.c.id)).group_by(_RACK_PLANS.c.wearer_pk)
    gone = 0
    for query in (
        sa.delete(_SHOP_PLANS).where(
            _SHOP_PLANS.c.made_at < moment, _SHOP_PLANS.c.id != newest_shop
        ),
        sa.delete(_RACK_PLANS).where(
            _RACK_PLANS.c.made_at < moment, _RACK_PLANS.c.id.not_in(newest_rack)
        ),
    ):
        gone += int(session.execute(query).rowcount)  # type: ignore[attr-defined]
    return gone


def forget_withdrawn_before(session: Session, moment: datetime) -> int:
    """Delete consents withdrawn before `moment`; return how many."""
    result = session.execute(sa.delete(_CONSENTS).where(_CONSENTS.c.withdrawn_at < moment))
    return int(result.rowcount)  # type: ignore[attr-defined]
