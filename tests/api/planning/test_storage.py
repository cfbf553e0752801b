"""Are plans, routes, rules, care and secrets kept alike on both databases, and with their owner?"""

from __future__ import annotations

from datetime import UTC, date, datetime

from sqlalchemy import delete, func, select

from solespan.api.storage.importing.bulk import insert_rows, pks_by_id
from solespan.api.storage.planning import planning
from solespan.api.storage.tables.planning import (
    CalendarFeed,
    CareDone,
    CareRuleRow,
    PairTraits,
    RackPlanRow,
    RouteRow,
)
from solespan.api.storage.tables.rack import Wearer

NOW = datetime(2026, 7, 1, tzinfo=UTC)
TRAITS = {"upper": "suede", "months": [5], "weight": 2.0, "route_id": None}
TABLES = (CalendarFeed, CareDone, CareRuleRow, PairTraits, RackPlanRow, RouteRow)


def test_what_is_kept_twice_is_replaced_and_all_goes_with_the_wearer(database):
    with database.writing() as session:
        insert_rows(session, "wearers", [{"wearer_id": "ada", "time_zone": "UTC"}])
        pk = pks_by_id(session, "wearers", ["ada"])["ada"]
        pair = {"pair_id": "oxford", "wearer_pk": pk, "construction": "blake"}
        insert_rows(session, "pairs", [pair])
        for price in (1, 2):
            planning.keep_route(session, pk, "local", {"price_minor": price})
            planning.keep_rule(session, pk, "suede", "brush", {"every_wears": price})
            planning.keep_traits(session, "oxford", TRAITS)
            planning.keep_feed(session, pk, f"hash{price}", NOW)
            session.flush()
        assert planning.keep_care(session, "oxford", "brush", date(2026, 6, 1))
        assert not planning.keep_care(session, "oxford", "brush", date(2026, 6, 1))
        planning.keep_plan(
            session,
            pk,
            starts_on=date(2026, 7, 2),
            weeks=2,
            question={},
            answer={"days": []},
            made_at=NOW,
        )
    with database.reading() as session:
        assert planning.routes_of(session, "ada") == {"local": {"price_minor": 2}}
        assert planning.care_rules_of(session, "ada")["suede", "brush"] == {"every_wears": 2}
        assert planning.traits_of(session, "ada")["oxford"]["months"] == [5]
        assert planning.wearer_of_secret(session, "hash1") is None
        assert planning.wearer_of_secret(session, "hash2") == "ada"
        assert planning.plans_of(session, "ada", limit=1)[0]["made_at"] == NOW
    with database.writing() as session:
        session.execute(delete(Wearer))
    with database.reading() as session:
        assert [session.scalar(select(func.count()).select_from(t)) for t in TABLES] == [0] * 6
