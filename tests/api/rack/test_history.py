"""Is every record restored as it was, and every change undone, also a whole import?"""

from __future__ import annotations

import io
import random
from datetime import date, timedelta

import pytest
import sqlalchemy as sa

from solespan.api.errors import Conflict, NotFound
from solespan.api.services.accounts.customer_record import customer_record, erase_customer
from solespan.api.services.importing.imports import import_files
from solespan.api.services.operation.retention import Sweeper
from solespan.api.services.rack import history, records
from solespan.api.storage.accounts.accounts import add_tenant
from solespan.api.storage.change_capture import KEPT
from solespan.api.storage.engine import tell_tenant
from solespan.api.storage.scope import within
from solespan.api.storage.tables.history import RecordChange, Revision
from solespan.api.storage.tables.rack import Root, Wearer

OUTSIDE = {"revisions", "record_changes", "audit_entries", "idempotency_keys", "imports"}
OUTSIDE |= {"booking_messages"}  # what a customer was told is not untold
# A number that only says that something changed, or when, differs after an undoing.
MOVING = {"version", "data_version", "updated_at"}
EDITS = {
    "wearers": {"name": "Cleo"},
    "pairs": {"label": "monk strap"},
    "soles": {"nominal_thickness_mm": 5.5},
    "wear-days": {"worn_on": "2026-06-11", "hours": 3},
    "checks": {"grade": "give", "point": "toe"},
    "bench-jobs": {"returned_on": "2026-06-09"},
    "bench-orders": {"note": "in a hurry"},
}
ORDER = {
    "order_id": "order-1",
    "pair_id": "derby",
    "work": "top_piece",
    "expected_on": "2026-06-22",
}


def rows_of(services, *, moving: bool = True) -> dict[str, list]:
    """Every row of every table but those about changes; forecasts without their numbers."""
    found = {}
    with services.database.reading() as session:
        for table in Root.metadata.sorted_tables:
            if table.name in OUTSIDE:
                continue
            left_out = set() if moving else set(MOVING)
            left_out |= {"id", "data_version"} if table.name == "forecasts" else set()
            left_out |= {"data_version"} if table.name == "wearers" else set()
            columns = [c for c in table.c if c.name not in left_out]
            rows = session.execute(sa.select(*columns)).all()
            found[table.name] = sorted(repr([_rounded(v) for v in row]) for row in rows)
    return found


def _rounded(value: object) -> object:
    """A forecast of one wearer and one of all together agree to single precision."""
    return float(f"{value:.5g}") if isinstance(value, float) else value


def undo(services, revision_id: str) -> str:
    with services.database.writing() as session:
        return history.undo(services, session, revision_id)["revision_id"]


def newest(services, only: str = "") -> str:
    with services.database.reading() as session:
        return history.list_changes(session, below_id=None, limit=1, only=only)[0]["revision_id"]


def delete(services, name: str, **key) -> str:
    with services.database.writing() as session:
        gone = records.delete(session, name, key, versions=None, with_all_below=True)
        if name != "wearers":
            services.forecaster.update_wearer(session, gone.wearer_id)
        return history.current_revision_id()


@pytest.mark.parametrize("path", EDITS)
def test_what_is_created_edited_and_deleted_is_restored_as_it_was(
    fitted, fitted_services, bodies, path
):
    """Create, edit, delete, restore: rows and forecasts are those of before, numbers too."""
    anyone = {"if-match": "*"}
    made = fitted.post(f"/v1/{path}", json=(bodies | {"bench-orders": ORDER})[path])
    assert made.status_code == 201, made.text
    edited = fitted.patch(made.headers["location"], json=EDITS[path], headers=anyone)
    assert edited.status_code == 200, edited.text
    assert all(edited.json()[name] == value for name, value in EDITS[path].items())
    address = edited.headers.get("location", made.headers["location"])
    before = rows_of(fitted_services)
    assert fitted.delete(address, headers=anyone).status_code == 204
    assert rows_of(fitted_services) != before
    assert fitted.get(address).status_code == 404
    told = fitted.get(f"{address}/history").json()
    assert (told["now"], [e["kind"] for e in told["entries"]]) == (
        None,
        ["deleted", "changed", "created"],
    )
    assert fitted.post(f"{address}/restore").status_code == 200
    assert rows_of(fitted_services) == before
    assert fitted.get(address).json() | {"events": 0} == edited.json() | {"events": 0}
    assert fitted.post(f"{address}/restore").status_code == 404


@pytest.mark.parametrize("path", EDITS)
def test_undoing_step_by_step_leads_back_to_the_beginning(fitted, fitted_services, bodies, path):
    """The edit, then the creation: each is undone, and redone by undoing the undoing."""
    start = rows_of(fitted_services, moving=False)
    made = fitted.post(f"/v1/{path}", json=(bodies | {"bench-orders": ORDER})[path])
    creation, created = newest(fitted_services), rows_of(fitted_services, moving=False)
    fitted.patch(made.headers["location"], json=EDITS[path], headers={"if-match": "*"})
    edit, edited = newest(fitted_services), rows_of(fitted_services, moving=False)
    with pytest.raises(history.ChangedSince):
        undo(fitted_services, creation)
    back = undo(fitted_services, edit)
    assert rows_of(fitted_services, moving=False) == created
    undo(fitted_services, back)
    assert rows_of(fitted_services, moving=False) == edited
    with pytest.raises(history.ChangedSince):
        undo(fitted_services, creation)
    undo(fitted_services, edit)
    undo(fitted_services, creation)
    assert rows_of(fitted_services, moving=False) == start
    with pytest.raises(Conflict, match="undone already"):
        undo(fitted_services, creation)


@pytest.mark.parametrize(("name", "key"), [("pairs", "oxford"), ("wearers", "ada")])
def test_what_hung_below_comes_back_in_the_right_order(fitted, fitted_services, name, key):
    """A pair or a wearer returns with soles, wears, checks, bookings, traits and forecasts."""
    services = fitted_services
    fitted.post("/v1/bench-orders", json=ORDER | {"pair_id": "oxford"})
    fitted.put("/v1/pairs/oxford/traits", json={"upper": "suede"})
    before = rows_of(services)
    revision = delete(services, name, **{f"{name[:-1]}_id": key})
    assert rows_of(services)["wear_days"] == []
    undo(services, revision)
    assert rows_of(services) == before


def test_any_changes_are_undone_in_reverse_order(fitted, fitted_services):
    """A seeded run of logging, correcting and deleting is undone one by one."""
    draw, services = random.Random(11), fitted_services
    states, revisions = [rows_of(services, moving=False)], []
    days = [date(2026, 5, 20) + timedelta(days=n) for n in range(6)]
    for _ in range(25):
        key = {"pair_id": draw.choice(("oxford", "derby")), "worn_on": draw.choice(days)}
        hours = draw.choice((2.0, 5.0, 9.0))
        with services.database.writing() as session:
            there = records.find_record(session, "wear_days", key)
            if there is None:
                new = key | {"hours": hours, "steps": None, "surface": "pavement"}
                new |= {"wet": False, "driving_minutes": None}
                records.create(session, "wear_days", new, services.clock)
            elif draw.random() < 0.5:
                records.delete(session, "wear_days", key, versions=None)
            elif there["hours"] != hours:
                change = {"hours": hours}
                records.replace(
                    session, "wear_days", key, change, versions=None, clock=services.clock
                )
            else:
                continue
            services.forecaster.update_wearer(session, "ada")
            revisions.append(history.current_revision_id())
        states.append(rows_of(services, moving=False))
    for revision, state in zip(reversed(revisions), reversed(states[:-1]), strict=True):
        undo(services, revision)
        assert rows_of(services, moving=False) == state


def test_a_number_is_never_given_twice(logged, logged_services):
    """A deleted row's number stays its own, though it was the last one."""
    day = {"pair_id": "oxford", "worn_on": "2026-06-10"}
    logged.post("/v1/wear-days", json=day)
    gone = delete(logged_services, "wear_days", pair_id="oxford", worn_on=date(2026, 6, 10))
    logged.post("/v1/wear-days", json=day | {"worn_on": "2026-06-11"})
    undo(logged_services, gone)
    assert logged.get("/v1/wear-days/oxford/2026-06-10").status_code == 200
    assert logged.get("/v1/wear-days/oxford/2026-06-11").status_code == 200


def test_a_place_that_is_taken_refuses_in_words(logged, logged_services):
    day = {"pair_id": "oxford", "worn_on": "2026-06-10"}
    logged.post("/v1/wear-days", json=day)
    delete(logged_services, "wear_days", pair_id="oxford", worn_on=date(2026, 6, 10))
    logged.post("/v1/wear-days", json=day | {"hours": 2})
    answer = logged.post("/v1/wear-days/oxford/2026-06-10/restore")
    assert answer.status_code == 409
    assert "taken the place" in answer.json()["detail"]
    assert logged.get("/v1/wear-days/oxford/2026-06-10").json()["hours"] == 2


def test_a_restored_sole_that_overlaps_is_refused(logged, logged_services):
    """What was logged meanwhile may contradict what is restored."""
    gone = delete(logged_services, "soles", sole_id="derby-1")
    new = {"sole_id": "derby-9", "pair_id": "derby", "fitted_on": "2025-12-01"}
    new |= {"material": "rubber", "nominal_thickness_mm": 6}
    assert logged.post("/v1/soles", json=new).status_code == 201
    with pytest.raises(Conflict, match="was fitted that day"):
        undo(logged_services, gone)


def test_a_wear_logged_since_keeps_its_pair(logged, logged_services, bodies):
    logged.post("/v1/pairs", json=bodies["pairs"])
    creation = newest(logged_services)
    sole = bodies["soles"] | {"sole_id": "monk-1", "pair_id": "monk"}
    assert logged.post("/v1/soles", json=sole).status_code == 201
    answer = logged.post(f"/v1/revisions/{creation}/undo")
    assert (answer.status_code, answer.json()["later"]) == (409, ["1 sole logged since"])


def test_another_tenant_sees_nothing_and_restores_nothing(logged, logged_services):
    gone = delete(logged_services, "pairs", pair_id="oxford")
    with logged_services.database.writing() as session:
        number = add_tenant(session, tenant_id="other", name="other", kind="rack")
    other = logged_services.for_tenant(number)
    with other.database.reading() as session:
        assert history.list_changes(session, below_id=None, limit=9) == []
        with pytest.raises(NotFound):
            history.record_history(session, "pairs", {"pair_id": "oxford"})
    with other.database.writing() as session:
        with pytest.raises(NotFound):
            history.undo(other, session, gone)
        with pytest.raises(NotFound):
            history.restore(other, session, "pairs", "oxford")
        with within(number):
            tell_tenant(session, number)
            for table in (Revision.__table__, RecordChange.__table__):
                assert session.execute(sa.delete(table)).rowcount == 0
    assert logged.post("/v1/pairs/oxford/restore").status_code == 200


FILES = {
    "wearers.csv": "wearer_id,name\nada,Ada A.\nzoe,Zoe\n",
    "pairs.csv": "pair_id,wearer_id,construction,label\nderby,ada,blake,new\nloafer,zoe,blake,\n",
    "soles.csv": "sole_id,pair_id,fitted_on,material,nominal_thickness_mm\n"
    "loafer-1,loafer,2026-01-01,rubber,6\nderby-2,derby,2026-05-01,rubber,6\n",
    "wear_days.csv": "pair_id,worn_on\nloafer,2026-02-01\nloafer,2026-02-02\nderby,2026-05-03\n",
}


def take(services) -> None:
    report = import_files(
        services.database,
        {name: io.BytesIO(text.encode()) for name, text in FILES.items()},
        source="a folder",
        today=services.clock.today,
    )
    assert report.written
    assert report.changed == 10


class TestImport:
    def test_undoing_it_leaves_the_rack_as_before(self, fitted, fitted_services):
        """New rows go, changed rows and the sole that the import ended are as they were."""
        before = rows_of(fitted_services, moving=False)
        take(fitted_services)
        assert rows_of(fitted_services, moving=False) != before
        (one,) = fitted.get("/v1/imports").json()["items"]
        assert fitted.post(f"/v1/imports/{one['import_id']}/undo").status_code == 200
        fitted_services.forecaster.update_behind()
        assert rows_of(fitted_services, moving=False) == before
        assert fitted.post(f"/v1/imports/{one['import_id']}/undo").status_code == 409
        take(fitted_services)  # it can be imported again

    def test_new_rows_stand_as_runs(self, logged_services):
        """However many rows a file brings, the history keeps one line for each run of them."""
        take(logged_services)
        with logged_services.database.reading() as session:
            lines = session.execute(
                sa.select(RecordChange.table_name, RecordChange.row_pk, RecordChange.last_pk)
                .join(Revision)
                .where(Revision.import_pk.is_not(None), RecordChange.kind == "created")
            ).all()
        assert {name: last - first + 1 for name, first, last in lines} == {
            "wearers": 1, "pairs": 1, "soles": 2, "wear_days": 3
        }  # fmt: skip

    @pytest.mark.parametrize(
        ("route", "body", "told"),
        [
            ("/v1/wear-days", {"pair_id": "loafer", "worn_on": "2026-03-01"}, "1 wear day logged"),
            ("/v1/wear-days/loafer/2026-02-01", {"hours": 3}, "wear day loafer/2026-02-01 was cha"),
            ("/v1/pairs/derby", {"label": "mine"}, "pair derby was changed"),
        ],
    )
    def test_a_later_change_refuses_it_by_name(self, logged, logged_services, route, body, told):
        take(logged_services)
        before = rows_of(logged_services)
        send = logged.post if route == "/v1/wear-days" else logged.patch
        assert send(route, json=body, headers={"if-match": "*"}).status_code in (200, 201)
        after = rows_of(logged_services)
        assert after != before
        import_id = logged.get("/v1/imports").json()["items"][0]["import_id"]
        answer = logged.post(f"/v1/imports/{import_id}/undo")
        assert answer.status_code == 409
        assert told in answer.json()["detail"]
        assert rows_of(logged_services) == after
        later = next(r["revision_id"] for r in logged.get("/v1/revisions").json()["items"])
        assert logged.post(f"/v1/revisions/{later}/undo").status_code == 200
        assert logged.post(f"/v1/imports/{import_id}/undo").status_code == 200

    def test_a_row_deleted_since_hinders_nobody(self, logged, logged_services):
        take(logged_services)
        delete(logged_services, "wear_days", pair_id="loafer", worn_on=date(2026, 2, 1))
        import_id = logged.get("/v1/imports").json()["items"][0]["import_id"]
        assert logged.post(f"/v1/imports/{import_id}/undo").status_code == 200
        assert logged.get("/v1/pairs/loafer").status_code == 404


@pytest.mark.parametrize("first", [False, True])
def test_erasing_a_customer_erases_the_history_too(logged, logged_services, first):
    """Of a customer who is there, and of one whom somebody deleted before."""
    anyone = {"if-match": "*"}
    logged.patch("/v1/wearers/ada", json={"name": "Zzmarked"}, headers=anyone)
    logged.patch("/v1/wearers/ada", json={"name": "Ada"}, headers=anyone)
    delete(logged_services, "pairs", pair_id="derby")
    if first:
        delete(logged_services, "wearers", wearer_id="ada")
    told = customer_record(logged_services, "ada")["held"]["record_changes"]
    assert any(line["before"].get("name") == "Zzmarked" for line in told)
    erase_customer(logged_services, "ada")
    with logged_services.database.reading() as session:
        kept = session.execute(sa.select(RecordChange.before)).scalars().all()
    assert not [line for line in kept if line and "Zzmarked" in repr(line)]
    assert not [line for line in kept if line and "derby" in repr(line)]
    assert logged.post("/v1/pairs/derby/restore").status_code == 404


def test_a_change_by_the_mapper_is_kept_as_its_wearers(logged_services):
    """The mapper's own statements leave the same lines as plain ones."""
    with logged_services.database.writing() as session:
        session.execute(sa.update(Wearer).where(Wearer.wearer_id == "ada").values(name="Zoe"))
        number = session.scalars(sa.select(Wearer.id).where(Wearer.wearer_id == "ada")).one()
    with logged_services.database.reading() as session:
        line = session.execute(
            sa.select(RecordChange.wearer_pk, RecordChange.record_key)
            .where(RecordChange.kind == "changed")
            .order_by(RecordChange.id.desc())
        ).first()
    assert line == (number, "ada")


def test_the_history_forgets_after_thirty_days(logged, logged_services, clock):
    delete(logged_services, "pairs", pair_id="oxford")
    with logged_services.database.writing() as session:
        session.execute(sa.update(Revision.__table__).values(at=clock.now()))
    sweeper = Sweeper(logged_services.database, clock, logged_services.settings)
    clock.move(days=29)
    assert sweeper.sweep()["history"] == 0
    clock.move(days=2)
    assert sweeper.sweep()["history"] > 0
    assert logged.post("/v1/pairs/oxford/restore").status_code == 404
    with logged_services.database.reading() as session:
        assert session.execute(sa.select(RecordChange.id)).all() == []


def test_every_table_that_is_kept_is_there():
    assert set(Root.metadata.tables) >= KEPT
