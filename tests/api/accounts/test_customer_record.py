"""Everything that is kept of a customer can be handed out, and erased from everywhere."""

from __future__ import annotations

import base64
import json
from datetime import UTC, date, datetime

import pytest
from sqlalchemy import func, insert, select
from typer.testing import CliRunner

from solespan.api.cli import main as command_line
from solespan.api.errors import NotFound, Refused
from solespan.api.services.accounts.customer_record import customer_record, erase_customer
from solespan.api.settings import Settings
from solespan.api.storage.accounts.customers import ERASED
from solespan.api.storage.notices.consents import address_hash
from solespan.api.storage.tables.accounts import AuditEntry
from solespan.api.storage.tables.bench import BenchPlan, StockItem, StockMove
from solespan.api.storage.tables.hooks import HookEndpoint
from solespan.api.storage.tables.keys import row_keys
from solespan.api.storage.tables.purchases import PurchaseOrder, Supplier
from solespan.api.storage.tables.rack import Root, Wearer
from solespan.api.storage.tables.results import ForecastRow, IdempotencyKey, ImportRun
from solespan.api.wiring import build_services

MARK = "zzmarked"
NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)
DAY = date(2026, 6, 1)
OWNER, STAFF = "ada@example.org", "ben@example.org"
# What stands below a wearer, with the marker in every text that takes one; parents come first.
BELOW: tuple[tuple[str, dict], ...] = (
    ("wearers", {"name": MARK, "email": f"{MARK}@mail.example"}),
    ("pairs", {"label": MARK, "construction": "blake"}),
    ("soles", {"fitted_on": DAY, "material": "rubber", "nominal_thickness_mm": 5.0}),
    ("wear_days", {"worn_on": DAY}),
    ("checks", {"checked_on": DAY, "foot": "left", "point": "ball", "method": "thumb", "grade": "firm"}),  # noqa: E501
    ("bench_jobs", {"work": "full_sole", "received_on": DAY}),
    ("layers", {"layer": "welt"}),
    ("fits", {"as_of": DAY, "model_version": "6", "data_version": 0, "payload": {}}),
    ("forecasts", {"data_version": 0, "as_of": DAY, "foot": "pair", "point": "ball", "reason": MARK}),  # noqa: E501
    ("bench_orders", {"work": "full_sole", "stage": "received", "booked_on": DAY, "parcel_in": MARK, "parcel_out": MARK, "worker": MARK, "note": MARK}),  # noqa: E501
    ("bench_events", {"to_stage": "received", "worker": MARK, "details": {"note": MARK}}),
    ("booking_messages", {"kind": "request", "sequence": 0, "day": DAY, "payload": {"pair": MARK}, "made_at": NOW, "state": "sent", "attempts": 1, "next_try_at": NOW}),  # noqa: E501
    ("bench_papers", {"kind": "condition", "payload": {"said": MARK}}),
    ("bench_photos", {"media_type": "image/png", "caption": MARK, "content": MARK.encode()}),
    ("pair_photos", {"media_type": "image/jpeg", "content": MARK.encode(), "thumbnail": MARK.encode()}),  # noqa: E501
    ("shared_pages", {"secret_hash": f"{MARK}-share", "reader": MARK, "expires_on": DAY}),
    ("due_outcomes", {"due_on": DAY, "outcome": "declined"}),
    ("rack_plans", {"starts_on": DAY, "weeks": 2, "question": {"of": MARK}, "answer": {"of": MARK}}),  # noqa: E501
    ("pair_traits", {"upper": "suede", "months": [1], "weight": 1.0}),
    ("resole_routes", {"route_id": MARK, "fields": {"name": MARK}}),
    ("care_rules", {"upper": "suede", "care": "brush", "fields": {"note": MARK}}),
    ("care_done", {"care": "brush", "done_on": DAY}),
    ("calendar_feeds", {"secret_hash": f"{MARK}-hash"}),
    ("reminders", {"kinds": [], "address": f"{MARK}@mail.example", "quiet_from": "21:00", "quiet_to": "08:00", "told": [MARK], "next_look_at": NOW}),  # noqa: E501
    ("push_devices", {"endpoint": f"https://push.example/{MARK}", "endpoint_hash": f"{MARK}-hash", "p256dh": "key", "auth": "auth", "name": MARK, "made_at": NOW}),  # noqa: E501
    ("reminder_messages", {"payload": {"said": MARK}, "made_at": NOW, "state": "sent", "attempts": 1, "next_try_at": NOW}),  # noqa: E501
    ("notices", {"decided_on": DAY, "sequence": 1}),
    ("notice_pairs", {"place": 0, "foot": "pair", "window": 1, "sequence": 1, "why": "book in", "told_day": DAY}),  # noqa: E501
    ("outbox", {"channel": "mail", "payload": {"to": MARK}, "made_at": NOW, "state": "pending", "next_try_at": NOW, "problem": MARK}),  # noqa: E501
    ("consents", {"channel": "mail", "given_at": NOW, "given_how": MARK, "given_by": MARK, "address": MARK}),  # noqa: E501
    ("hook_events", {"kind": "order.booked", "payload": {"of": MARK}, "made_at": NOW, "begun_at": NOW, "state": "sent", "attempts": 1, "next_try_at": NOW}),  # noqa: E501
    ("personal_links", {"secret_hash": f"{MARK}-link"}),
    ("browser_sessions", {"token_hash": f"{MARK}-token", "begun_at": NOW, "used_at": NOW}),
)  # fmt: skip


def fill(services) -> int:
    """Write the marker wherever something of one customer can stand; return their number."""
    tables = Root.metadata.tables
    made: dict[str, int] = {}
    with services.database.writing() as session:
        endpoint = {"url": "https://hook.example/", "kinds": [], "secret": "whsec_AAAA"}
        row = session.execute(insert(HookEndpoint.__table__).values(endpoint))
        made["hook_endpoints"] = row.inserted_primary_key[0]
        for name, values in BELOW:
            own = dict(values)
            keys = {key.parent.name: key for key in row_keys(tables[name])}
            for column in tables[name].c:
                key = keys.get(column.name)
                if key is not None and key.column.table.name in made:
                    own[column.name] = made[key.column.table.name]
                elif key is None and column.name.endswith("_id") and column.name not in own:
                    own[column.name] = f"{MARK}-{name}"
                elif column.name == "tenant_pk" and name in ("personal_links", "browser_sessions"):
                    own[column.name] = 1
            own |= {"user_pk": None, "device": "Chrome"} if name == "browser_sessions" else {}
            row = session.execute(insert(tables[name]).values(own))
            made[name] = row.inserted_primary_key[0]
        quote_elsewhere(session, made)
    return made["wearers"]


def quote_elsewhere(session, made: dict[str, int]) -> None:
    """Let other rows of the tenant quote the customer, beside rows that do not."""
    for key, body in (("a", {"name": MARK}), ("b", {"name": "another"})):
        answer = {"route": "POST /v1/wearers", "fingerprint": "f", "status_code": 201}
        session.execute(insert(IdempotencyKey.__table__).values(key=key, body=body, **answer))
    for subject in (
        {"pair_id": f"{MARK}-pairs"},
        {"pair_id": "another"},
        {"email": f"{MARK}@mail.example"},
    ):
        entry = {"actor": OWNER, "action": "PUT /v1/pairs/{pair_id}", "subject": subject}
        session.execute(insert(AuditEntry.__table__).values(entry))
    entry = {"actor": f"customer {made['wearers']}", "action": "POST /my/wear", "subject": {}}
    session.execute(insert(AuditEntry.__table__).values(entry))
    for said, source in ((f"the pair of {MARK}", f"folder {MARK}"), ("line 3", "folder")):
        counts = {"pairs": {"rows": 3}}
        finding = {"severity": "noted", "file": "pairs.csv", "line": 2, "value": said, "why": ""}
        report = {"source": source, "written": True, "counts": counts, "rows": [finding]}
        row = {"source": source, "counts": counts, "report": report}
        session.execute(insert(ImportRun.__table__).values(row))
    pairs = [{"pair_id": f"{MARK}-pairs", "ask_on": None}, {"pair_id": "another", "ask_on": None}]
    session.execute(insert(BenchPlan.__table__).values(as_of=DAY, payload={"pairs": pairs}))
    item = {
        "item_id": "rubber-42", "use": "sole", "quantity": 1, "supply_days": 3,
        "supply_days_sd": 1, "minimum_order": 1, "service_level": 0.9, "review_days": 7,
    }  # fmt: skip
    supplier = {"supplier_id": "tannery", "supply_days": 3, "supply_days_sd": 1}
    made_by = insert(Supplier.__table__).values(supplier)
    item["supplier_pk"] = session.execute(made_by).inserted_primary_key[0]
    item_pk = session.execute(insert(StockItem.__table__).values(item)).inserted_primary_key[0]
    order = {
        "item_pk": item_pk, "supplier_pk": item["supplier_pk"], "state": "ordered",
        "ordered_on": DAY, "expected_on": DAY, "quantity": 1, "received": 0,
    }  # fmt: skip
    session.execute(insert(PurchaseOrder.__table__).values(order))
    move = {"item_pk": item_pk, "reason": "use", "change": -1, "quantity_after": 1, "note": MARK}
    session.execute(insert(StockMove.__table__).values(move | {"order_pk": made["bench_orders"]}))


def everything(services) -> dict[str, str]:
    """Every column of every table as one text, by table."""
    with services.database.reading() as session:
        return {
            table.name: "\n".join(repr(tuple(row)) for row in session.execute(select(table)))
            for table in Root.metadata.sorted_tables
        }


@pytest.fixture
def marked(new_address, clock):
    """Services in which the marked customer stands everywhere."""
    services = build_services(Settings(database_url=new_address), clock)
    fill(services)
    yield services
    services.database.close()


def test_every_table_that_goes_with_a_wearer_is_marked_here():
    below = {"wearers"}
    for table in Root.metadata.sorted_tables:
        if any(k.ondelete == "CASCADE" and k.column.table.name in below for k in row_keys(table)):
            below.add(table.name)
    assert below == {name for name, _ in BELOW} - {"fits"}


def test_an_erased_customer_is_found_in_no_column_of_any_table(marked):
    wearer_id = f"{MARK}-wearers"
    assert sum(MARK in text for text in everything(marked).values()) > 15
    erased = erase_customer(marked, wearer_id)
    left = {name for name, text in everything(marked).items() if MARK in text}
    assert left <= {"fits"}, "a fit holds nobody's rows; its id carries the marker in this test"
    assert erased["rows"]["pairs"] == 1
    with pytest.raises(NotFound):
        customer_record(marked, wearer_id)


def test_what_is_of_others_stays(marked):
    with marked.database.writing() as session:
        session.add(Wearer(wearer_id="another", name="Another"))
    erase_customer(marked, f"{MARK}-wearers")
    with marked.database.reading() as session:
        assert session.scalars(select(Wearer.name)).all() == ["Another"]
        (plan,) = session.scalars(select(BenchPlan.payload))
        assert plan["pairs"] == [{"pair_id": "another", "ask_on": None}]
        subjects = session.scalars(select(AuditEntry.subject).order_by(AuditEntry.id)).all()
        assert subjects == [{"customer": ERASED}, {"pair_id": "another"}, {"customer": ERASED}, {}]
        assert f"customer {ERASED}" in session.scalars(select(AuditEntry.actor)).all()
        runs = session.execute(select(ImportRun.source, ImportRun.counts, ImportRun.report)).all()
        assert [run.source for run in runs] == [ERASED, "folder"]
        assert all(run.counts == {"pairs": {"rows": 3}} for run in runs)
        assert [len(run.report["rows"]) for run in runs] == [0, 1]
        assert session.scalars(select(StockMove.change)).all() == [-1], "the stock book is whole"
        assert session.scalar(select(func.count()).select_from(ForecastRow)) == 0


def test_nothing_is_left_in_the_file_nor_in_the_log_beside_it(sqlite_address, tmp_path, clock):
    services = build_services(Settings(database_url=sqlite_address), clock)
    fill(services)
    with services.database.writing() as session:  # an earlier name leaves bytes behind as well
        session.execute(Wearer.__table__.update().values(name="somebody else"))
    erased = erase_customer(services, f"{MARK}-wearers")
    assert erased["file_written_anew"]
    with services.database.writing() as session:
        session.execute(Root.metadata.tables["fits"].delete())
    assert erase_customer_of(services) is not None
    for path in tmp_path.glob("solespan.sqlite3*"):
        assert MARK.encode() not in path.read_bytes(), path.name
    services.database.close()


def erase_customer_of(services):
    """Erase one more, unmarked, customer: the file is replaced again."""
    with services.database.writing() as session:
        session.add(Wearer(wearer_id="plain"))
    return erase_customer(services, "plain")


def test_while_somebody_reads_the_erasure_holds_and_says_the_file_may_not(sqlite_address, clock):
    settings = Settings(database_url=sqlite_address, database_wait_s=0.2)
    services = build_services(settings, clock)
    other = build_services(settings, clock)
    fill(services)
    with other.database.reading() as session:
        session.scalars(select(Wearer.name)).all()
        erased = erase_customer(services, f"{MARK}-wearers")
    assert not erased["file_written_anew"]
    with services.database.reading() as session:
        assert session.scalars(select(Wearer.name)).all() == []
    for each in (services, other):
        each.database.close()


def test_the_record_holds_every_table_by_ids_that_people_know_and_no_secret(marked):
    with marked.database.writing() as session:
        stopped = Root.metadata.tables["stopped_addresses"]
        hashed = address_hash(f"{MARK}@mail.example")
        session.execute(insert(stopped).values(address_hash=hashed, reason="full", at=NOW))
    record = json.loads(json.dumps(customer_record(marked, f"{MARK}-wearers")))
    assert set(record["held"]) == {name for name, _ in BELOW} - {"fits"} | {"stopped_addresses"}
    assert record["held"]["wear_days"][0]["pair_id"] == f"{MARK}-pairs"
    assert record["held"]["bench_papers"][0]["order_id"] == f"{MARK}-bench_orders"
    assert record["held"]["bench_photos"][0]["photo_id"] == f"{MARK}-bench_photos"
    assert base64.b64decode(record["held"]["bench_photos"][0]["content"]) == MARK.encode()
    for rows in record["held"].values():
        for row in rows:
            assert not [name for name in row if name.endswith(("_pk", "_hash"))]


class TestOverHttp:
    def bearer(self, token):
        return {"authorization": f"Bearer {token}"}

    def test_who_manages_reads_and_erases_and_the_log_does_not_say_whom(self, client, token_of):
        headers = self.bearer(token_of(OWNER, "manage"))
        address = "/v1/customers/carl/record"
        record = client.get(address, headers=headers).json()
        assert record["held"]["pairs"][0]["label"] == "mine"
        assert client.delete(address, headers=headers).json()["rows"]["wearers"] == 1
        assert client.get(address, headers=headers).status_code == 404
        newest = client.get("/v1/audit", headers=headers).json()["items"][0]
        assert newest["action"].startswith("DELETE")
        assert newest["subject"] == {}

    def test_who_took_a_record_out_is_noted(self, client, token_of):
        headers = self.bearer(token_of(OWNER, "manage"))
        address = "/v1/customers/carl/record"
        for _ in range(2):
            assert client.get(address, headers=headers).status_code == 200
        assert client.get("/v1/customers/nobody/record", headers=headers).status_code == 404
        said = [
            (entry["action"], entry["subject"])
            for entry in client.get("/v1/audit", headers=headers).json()["items"]
        ]
        noted = ("GET /v1/customers/{wearer_id}/record", {"wearer_id": "carl"})
        assert said == [noted, noted]

    def test_another_shop_keeps_its_customer_of_the_same_id(self, client, token_of):
        mine = self.bearer(token_of(OWNER, "manage"))
        theirs = self.bearer(token_of("eve@example.org", "manage"))
        assert client.delete("/v1/customers/carl/record", headers=mine).status_code == 200
        kept = client.get("/v1/customers/carl/record", headers=theirs).json()
        assert kept["held"]["pairs"][0]["label"] == "theirs"

    def test_staff_may_do_neither(self, client, token_of):
        headers = self.bearer(token_of(STAFF, "read", "write", "notices"))
        for method in ("GET", "DELETE"):
            answer = client.request(method, "/v1/customers/carl/record", headers=headers)
            assert answer.status_code == 403

    def test_the_page_erases_only_when_the_id_was_typed(self, client, enter):
        enter(client, OWNER)
        page = client.get("/people/customer?wearer=carl")
        assert str(page.url).endswith("/customers/carl")
        assert "Carl of mine" in page.text
        file = client.get("/customers/carl/record.json")
        assert file.headers["content-disposition"].startswith("attachment")
        assert file.json()["wearer_id"] == "carl"
        token = page.text.split('name="form_token" value="')[1].split('"')[0]
        wrong = client.post(
            "/customers/carl/erase", data={"form_token": token, "confirm": "Carl of mine"}
        )
        assert wrong.status_code == 422
        assert "Nothing was erased" in wrong.text
        foreign = client.post("/customers/carl/erase", data={"confirm": "carl"})
        assert foreign.status_code == 422
        done = client.post("/customers/carl/erase", data={"form_token": token, "confirm": "carl"})
        assert "The customer is erased" in done.text
        assert client.get("/customers/carl").status_code == 404


class TestCommands:
    @pytest.fixture
    def run(self, monkeypatch, services):
        monkeypatch.setenv("SOLESPAN_DATABASE_URL", services.settings.database_url)

        def run(*arguments, typed=None):
            result = CliRunner().invoke(command_line.build_app(), arguments, input=typed)
            if result.exception is not None:
                raise result.exception
            return result.stdout

        return run

    def test_the_record_goes_to_the_terminal_or_to_a_new_file(self, run, tmp_path):
        assert json.loads(run("customer-export", "carl"))["wearer_id"] == "carl"
        path = tmp_path / "carl.json"
        run("customer-export", "carl", "--out", str(path))
        assert json.loads(path.read_text("utf-8"))["held"]["pairs"][0]["label"] == "mine"
        assert path.stat().st_mode & 0o077 == 0
        with pytest.raises(Exception, match="there already"):
            run("customer-export", "carl", "--out", str(path))

    def test_erasing_asks_for_the_id_unless_told_yes(self, run):
        with pytest.raises(Refused, match="Nothing was erased"):
            run("customer-erase", "carl", typed="yes\n")
        assert "Erased" in run("customer-erase", "carl", "--yes")
        with pytest.raises(NotFound, match="carl"):
            run("customer-export", "carl")
