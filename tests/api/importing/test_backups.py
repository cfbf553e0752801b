"""Does everything that was entered leave in one file and come back equal, or not at all?"""

from __future__ import annotations

import io
import json
import zipfile
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from solespan.api.author import Author
from solespan.api.clock import Clock
from solespan.api.errors import BadUpload
from solespan.api.services.importing.backups import (
    VERSION,
    WouldReplace,
    restore_backup,
    write_backup,
)
from solespan.api.services.importing.uploads import BACKUP, lay_out
from solespan.api.services.rack.history import undo
from solespan.api.settings import Settings
from solespan.api.storage.importing.backup_rows import PARTS, read_rows
from solespan.api.storage.rack.frames import load_frames
from solespan.api.storage.tables.bench import (
    BenchEvent,
    BenchOrder,
    BenchPaper,
    BenchPhoto,
    DueOutcome,
    ShopSetting,
    StockItem,
    StockMove,
)
from solespan.api.storage.tables.notices import Consent, StoppedAddress
from solespan.api.storage.tables.pair_extras import PairPhoto
from solespan.api.storage.tables.planning import (
    CareDone,
    CareRuleRow,
    PairTraits,
    RackPlanRow,
    RouteRow,
)
from solespan.api.storage.tables.purchases import PurchaseOrder, Supplier
from solespan.api.storage.tables.rack import Pair
from solespan.api.wiring import build_services
from tests.api.importing.conftest import Folder

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
DAY = date(2026, 5, 1)


def _services(address):
    made = build_services(Settings(database_url=address), clock=Clock(lambda: NOW))
    return replace(made, database=made.database.for_tenant(1, Author("test", "test", {})))


@pytest.fixture
def here(databases):
    services = _services(databases.copy())
    yield services
    services.database.close()


@pytest.fixture
def other(databases):
    services = _services(databases.copy())
    yield services
    services.database.close()


def _fill(services) -> None:
    """Log a small rack, and add one row of each other table."""
    Folder(services.database).take()
    with services.database.writing() as session:
        pair = session.query(Pair).one()
        whose = {"wearer_pk": pair.wearer_pk}
        of = {"pair_pk": pair.id}
        order = BenchOrder(**of, work="full_sole", stage="booked", booked_on=DAY, note="=a\nb")
        seller = Supplier(supplier_id="tannery", supply_days=280.0, supply_days_sd=40.0)
        session.add(seller)
        session.flush()
        item = StockItem(
            supplier_pk=seller.id,
            item_id="leather",
            use="full_sole",
            quantity=4.0,
            supply_days=7.0,
            supply_days_sd=1.0,
            minimum_order=1.0,
            service_level=0.9,
            review_days=7,
        )
        session.add_all([order, item])
        session.flush()
        in_order = {"order_pk": order.id}
        session.add_all(
            [
                ShopSetting(name="life", value={"years": 3}),
                ShopSetting(name="look_back", value={"own": True}),
                PairTraits(**of, upper="suede", months=[1, 2], weight=2.0),
                RouteRow(**whose, route_id="r", fields={"price": 1}),
                CareRuleRow(**whose, upper="suede", care="trees", fields={"days": 3}),
                CareDone(**of, care="trees", done_on=DAY),
                RackPlanRow(**whose, starts_on=DAY, weeks=2, question={}, answer={}, made_at=NOW),
                BenchEvent(**in_order, to_stage="booked", details={}, at=NOW),
                BenchPaper(**in_order, kind="condition", payload={"a": 1}),
                BenchPhoto(**in_order, media_type="image/png", content=b"\x89PNG\x00\xff"),
                PairPhoto(**of, media_type="image/jpeg", content=b"\xff\x00", thumbnail=b"\xff"),
                StockMove(
                    item_pk=item.id, **in_order, reason="count", change=4, quantity_after=4, at=NOW
                ),
                PurchaseOrder(
                    item_pk=item.id,
                    supplier_pk=seller.id,
                    state="part_received",
                    ordered_on=DAY,
                    expected_on=DAY,
                    quantity=9.0,
                    received=4.0,
                ),
                DueOutcome(**of, due_on=DAY, outcome="declined"),
                DueOutcome(**of, due_on=date(2026, 6, 1), outcome="declined", supposed=True),
                Consent(**whose, channel="mail", given_at=NOW, given_how="asked", given_by="me"),
                StoppedAddress(address_hash="0" * 64, reason="bounced", at=NOW),
            ]
        )


def _held(services):
    with services.database.reading() as session:
        log = {name: str(frame.to_dict("records")) for name, frame in load_frames(session).items()}
        return log | {name: list(read_rows(session, name)) for name in PARTS}


def _without(held, names):
    return {name: rows for name, rows in held.items() if name not in names}


def _backup(services, folder):
    path = folder / "backup.zip"
    with path.open("wb") as stream:
        write_backup(services, stream)
    return path


def _rewritten(path, change):
    """Write the same archive with some files changed: name -> bytes -> bytes or None."""
    out = path.with_name("changed.zip")
    with zipfile.ZipFile(path) as source, zipfile.ZipFile(out, "w") as target:
        for name in source.namelist():
            data = change(name, source.read(name))
            if data is not None:
                target.writestr(name, data)
    return out


def test_all_that_was_entered_comes_back_elsewhere_and_goes_again(here, other, tmp_path):
    _fill(here)
    empty, full = _held(other), _held(here)
    assert all(full[name] for name in PARTS)
    assert [row["name"] for row in full["shop_settings"]] == ["life"]
    path = _backup(here, tmp_path)
    report, revision_id = restore_backup(other, path, replace=False)
    assert report.changed == sum(counts.rows for counts in report.counts.values())
    assert _held(other) == full
    again, nothing = restore_backup(other, path, replace=False)
    assert (again.changed, nothing) == (0, "")
    with other.database.writing() as session:
        undo(other, session, revision_id)
    assert _held(other) == empty


def test_where_it_was_written_nothing_changes_but_what_was_lost_comes_back(here, tmp_path):
    _fill(here)
    full, path = _held(here), _backup(here, tmp_path)
    assert restore_backup(here, path, replace=False)[0].changed == 0
    with here.database.writing() as session:
        session.delete(session.query(Pair).one())
    restore_backup(here, path, replace=False)
    book = {"stock_moves"}  # its lines were never away, but no longer name the booking
    assert _without(_held(here), book) == _without(full, book)


def test_it_asks_before_it_replaces_and_changes_nothing_until_then(here, tmp_path):
    _fill(here)
    full, path = _held(here), _backup(here, tmp_path)
    with here.database.writing() as session:
        session.query(Pair).one().label = "renamed since"
        session.query(ShopSetting).filter_by(name="life").one().value = {"years": 9}
    changed = _held(here)
    with pytest.raises(WouldReplace) as asked:
        restore_backup(here, path, replace=False)
    counts = asked.value.report.counts
    assert {name for name, one in counts.items() if one.updated} == {"pairs", "shop_settings"}
    assert _held(here) == changed
    restore_backup(here, path, replace=True)
    assert _held(here) == full


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(lambda n, d: d + b"\n" if n == "pairs.csv" else d, id="changed"),
        pytest.param(lambda n, d: None if n == "more/care_done.jsonl" else d, id="missing"),
        pytest.param(lambda n, d: b"[1" if n == BACKUP else d, id="no manifest"),
        pytest.param(lambda n, d: None if n == BACKUP else d, id="another ZIP"),
        pytest.param(
            lambda n, d: (
                json.dumps(json.loads(d) | {"version": VERSION + 1}).encode() if n == BACKUP else d
            ),
            id="newer",
        ),
    ],
)
def test_a_damaged_or_newer_one_changes_nothing(here, other, tmp_path, change):
    _fill(here)
    before = _held(other)
    with pytest.raises(BadUpload):
        restore_backup(other, _rewritten(_backup(here, tmp_path), change), replace=True)
    assert _held(other) == before


def test_one_cut_short_anywhere_is_refused(here, other, tmp_path):
    whole = _backup(here, tmp_path).read_bytes()
    path = tmp_path / "cut.zip"
    for length in range(0, len(whole), len(whole) // 40):
        path.write_bytes(whole[:length])
        with pytest.raises(BadUpload):
            restore_backup(other, path, replace=True)


def test_the_import_of_tables_names_the_place_for_backups(here, tmp_path):
    stream = io.BytesIO(_backup(here, tmp_path).read_bytes())
    (tmp_path / "out").mkdir()
    with pytest.raises(BadUpload, match="backup"):
        lay_out([("backup.zip", stream)], tmp_path / "out", limit_bytes=10**8)
