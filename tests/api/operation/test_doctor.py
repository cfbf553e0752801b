"""`solespan doctor` names what is wrong and what to do, and says nothing is wrong where so."""

from __future__ import annotations

import json
import socket
from datetime import UTC, datetime, timedelta

import pytest
from typer.testing import CliRunner

from solespan.api.cli.main import build_app
from solespan.api.clock import Clock
from solespan.api.services.operation.backup_schedule import BackupSchedule
from solespan.api.services.operation.doctor import examine
from solespan.api.settings import Settings
from solespan.api.storage.tables.accounts import AuditEntry
from solespan.api.storage.tables.notices import Notice, Outbox
from solespan.api.storage.tables.rack import Pair, Wearer
from solespan.api.storage.tables.results import ForecastRow
from solespan.api.wiring import build_services

NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)
SECRET = "0123456789abcdefghijklmnopqrstuvwxyz"


def found(address: str, clock: Clock | None = None, **given) -> dict[str, tuple[str, str]]:
    """Every subject that is not well, with its state and remedy."""
    services = build_services(Settings(database_url=address, **given), clock)
    try:
        seen = list(examine(services))
    finally:
        services.database.close()
    assert all(one.what and (one.state == "ok" or one.remedy) for one in seen)
    return {one.subject: (one.state, one.remedy) for one in seen if one.state != "ok"}


def test_a_new_rack_has_nothing_to_do_now(new_address):
    states = {state for state, _ in found(new_address).values()}
    assert states <= {"warning"}


def test_what_others_can_reach_needs_a_proxy_and_secrets(new_address):
    open_to_others = {"accounts": True, "public_address": "https://shoes.example.org"}
    wrong = found(new_address, **open_to_others)
    assert wrong["proxy"][0] == "wrong"
    assert wrong["secrets"][0] == "warning"
    well = found(new_address, **open_to_others, trusted_proxies="127.0.0.1", secret_key=SECRET)
    assert not well.keys() & {"proxy", "secrets", "database role"}
    assert found(new_address, trusted_proxies="0.0.0.0/0")["proxy"][0] == "wrong"
    assert found(new_address, secret_key="a" * 40)["secrets"][0] == "wrong"


def test_a_mail_server_is_asked(new_address):
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        mail = {"smtp_host": "127.0.0.1", "smtp_port": port}
        assert "SMTP_FROM" in found(new_address, **mail)["mail"][1]
        assert "mail" not in found(new_address, **mail, smtp_from="a@example.org")
    assert "SMTP_HOST" in found(new_address, **mail, smtp_from="a@example.org")["mail"][1]


def test_a_backup_that_is_too_old_is_wrong(new_address, tmp_path, clock_of):
    folder = {"backup_folder": str(tmp_path), "backup_passphrase": "correct horse"}
    assert found(new_address, clock_of(NOW), **folder)["backup"][0] == "wrong"
    services = build_services(Settings(database_url=new_address, **folder), clock_of(NOW))
    BackupSchedule(services).once()
    services.database.close()
    assert "backup" not in found(new_address, clock_of(NOW), **folder)
    later = clock_of(NOW + timedelta(hours=49))
    assert found(new_address, later, **folder)["backup"][0] == "wrong"
    folder["backup_folder"] = str(tmp_path / "missing")
    assert found(new_address, **folder)["backup"][0] == "wrong"


@pytest.fixture
def clock_of():
    return lambda moment: Clock(now=lambda: moment)


def test_old_notices_forecasts_failures_and_clocks_are_named(database, new_address, clock_of):
    with database.writing() as session:
        pair = Pair(pair_id="p", construction="blake")
        wearer = Wearer(wearer_id="ann", time_zone="Nowhere/Land", pairs=[pair])
        session.add(wearer)
        session.flush()
        day = NOW.date() - timedelta(days=30)
        session.add(
            ForecastRow(pair_pk=pair.id, data_version=1, as_of=day, foot="pair", point="ball")
        )
        session.add(AuditEntry(at=NOW + timedelta(days=400), actor="x", action="y", subject={}))
        for place, (state, attempts) in enumerate((("pending", 0), ("failed", 1), ("pending", 9))):
            notice = Notice(wearer_pk=wearer.id, decided_on=day, sequence=1)
            session.add(notice)
            session.flush()
            row = Outbox(notice_pk=notice.id, channel="webhook", message_id=f"m{place}", payload={})
            row.made_at = row.next_try_at = NOW - timedelta(hours=5)
            row.state, row.attempts, row.done_at = state, attempts, NOW
            session.add(row)
    wrong = found(new_address, clock_of(NOW))
    assert {"forecasts", "clock", "time zones", "outbox", "delivery"} <= wrong.keys()


def test_the_exit_code_and_json_say_so(new_address, monkeypatch):
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", new_address)
    done = CliRunner().invoke(build_app(), ["doctor", "--format", "json"])
    assert done.exit_code == 0
    assert json.loads(done.stdout)["status"] == "ok"
    monkeypatch.setenv("SOLESPAN_TRUSTED_PROXIES", "0.0.0.0/0")
    done = CliRunner().invoke(build_app(), ["doctor"])
    assert done.exit_code == 1
    assert "SOLESPAN_TRUSTED_PROXIES" in done.stdout
    monkeypatch.setenv("SOLESPAN_DATABASE_URL", "postgresql://x@127.0.0.1:1/x")
    done = CliRunner().invoke(build_app(), ["doctor"])
    assert done.exit_code == 1
