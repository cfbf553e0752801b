"""What is too old to keep is swept away once a day, and nothing that is still needed."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import func, insert, select

from solespan.api.settings import Settings
from solespan.api.storage.tables.accounts import AuditEntry
from solespan.api.storage.tables.bench import BenchPlan
from solespan.api.storage.tables.notices import Consent, Notice, Outbox
from solespan.api.storage.tables.planning import RackPlanRow
from solespan.api.storage.tables.rack import Wearer
from solespan.api.storage.tables.results import IdempotencyKey, ImportRun
from solespan.api.wiring import build_services

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)
DAY = date(2026, 6, 1)
WORDS = {"subject": "s", "text": "Dear Ann", "html": "h", "unsubscribe": "u", "pairs": []}


@pytest.fixture
def kept(new_address, clock):
    """Services that keep everything ten days, with things of 5 to 20 days on each database."""
    names = ("audit", "sent_notices", "import_reports", "plans", "withdrawn_consents")
    settings = {f"keep_{name}_days": 10 for name in names}
    services = build_services(Settings(database_url=new_address, **settings), clock)
    with services.database.writing() as session:
        wearer = Wearer(wearer_id="ann")
        session.add(wearer)
        session.flush()
        for age in (20, 11, 9, 5):
            fill(session, wearer.id, NOW - timedelta(days=age))
    yield services
    services.database.close()


def fill(session, wearer_pk: int, at: datetime) -> None:
    """One thing of each kind from that moment."""

    def add(mapped, **values):
        row = session.execute(insert(mapped.__table__).values(values))
        return row.inserted_primary_key[0]

    add(AuditEntry, at=at, actor="ada", action="x", subject={})
    report = {"rows": [{"value": "Ann"}], "counts": {"pairs": {}}}
    add(ImportRun, imported_at=at, source="x", counts={"pairs": {}}, report=report)
    add(BenchPlan, made_at=at, as_of=DAY, payload={})
    add(
        RackPlanRow, wearer_pk=wearer_pk, made_at=at, starts_on=DAY, weeks=2, question={}, answer={}
    )
    consent = {"channel": "mail", "given_at": at, "given_how": "x", "given_by": "x"}
    add(Consent, wearer_pk=wearer_pk, withdrawn_at=at, withdrawn_how="x", **consent)
    key = {"route": "x", "fingerprint": "f", "status_code": 201, "body": {}}
    add(IdempotencyKey, key=at.isoformat(), created_at=at, **key)
    for channel, state in (("mail", "sent"), ("print", "sent"), ("webhook", "failed")):
        notice = add(Notice, wearer_pk=wearer_pk, decided_on=at.date(), sequence=1)
        row = {"channel": channel, "state": state, "made_at": at, "next_try_at": at, "done_at": at}
        add(Outbox, notice_pk=notice, message_id=f"{at}{channel}", payload=WORDS, attempts=1, **row)


def count(services, mapped) -> int:
    with services.database.reading() as session:
        return session.scalar(select(func.count()).select_from(mapped))


def test_what_is_older_than_its_setting_goes_and_the_rest_stays(kept):
    kept.refitter.round()
    assert count(kept, AuditEntry) == 2
    assert count(kept, Consent) == 2
    assert count(kept, BenchPlan) == 2
    assert count(kept, RackPlanRow) == 2
    assert count(kept, IdempotencyKey) == 0, "answers are good for a day"
    with kept.database.reading() as session:
        reports = session.scalars(select(ImportRun.report).order_by(ImportRun.imported_at)).all()
        assert [len(report["rows"]) for report in reports] == [0, 0, 1, 1]
        assert all(report["counts"] == {"pairs": {}} for report in reports)


def test_that_somebody_was_written_to_stays_known_when_the_words_are_gone(kept):
    kept.refitter.round()
    assert count(kept, Notice) == 12
    with kept.database.reading() as session:
        rows = session.execute(
            select(Outbox.channel, Outbox.state, Outbox.payload).order_by(Outbox.done_at, Outbox.id)
        ).all()
    words = {(row.channel, i // 3): row.payload["text"] == "Dear Ann" for i, row in enumerate(rows)}
    assert [words["mail", i] for i in range(4)] == [False, False, True, True]
    assert all(words["print", i] for i in range(4)), "letters that nobody has printed yet"
    states = [row.state for row in rows if row.channel == "webhook"]
    assert states == ["cancelled", "cancelled", "failed", "failed"]


def test_the_newest_plans_stay_however_old(kept, clock):
    clock.move(days=500)
    kept.refitter.round()
    assert (count(kept, BenchPlan), count(kept, RackPlanRow)) == (1, 1)
    assert count(kept, AuditEntry) == 0


def test_it_is_done_once_a_day(kept, clock):
    kept.refitter.round()
    assert count(kept, AuditEntry) == 2
    clock.move(hours=23)
    with kept.database.writing() as session:
        fill(session, session.scalar(select(Wearer.id)), NOW - timedelta(days=30))
    kept.refitter.round()
    assert count(kept, AuditEntry) == 3
    clock.move(hours=2)
    kept.refitter.round()
    assert count(kept, AuditEntry) == 1, "two were left, and one of them is ten days old by now"
