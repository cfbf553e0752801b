"""The service backs itself up when it is time, and keeps the newest of some days and weeks."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from solespan.api.errors import BadSetting
from solespan.api.services.operation.backup_schedule import BackupSchedule
from solespan.api.settings import Settings
from solespan.api.storage.backup.dump import check
from solespan.api.storage.backup.folder import backups_in, file_name, one_writer, superseded
from solespan.api.wiring import build_services
from tests.api.conftest import MovableClock

BEGIN = datetime(2026, 1, 1, 3, tzinfo=UTC)


def made(count: int, step: timedelta) -> dict[Path, datetime]:
    moments = [BEGIN + i * step for i in range(count)]
    return {Path(file_name(moment)): moment for moment in moments}


@pytest.mark.parametrize("hours", [1, 5, 24, 24 * 9])
def test_the_newest_of_the_last_days_and_weeks_stay(hours):
    found = made(300, timedelta(hours=hours))
    gone = superseded(found, days=3, weeks=2)
    stay = [found[path] for path in found if path not in gone]
    assert stay[-1] == max(found.values())
    days = sorted({moment.date() for moment in found.values()})[-3:]
    weeks = sorted({moment.isocalendar()[:2] for moment in found.values()})[-2:]
    assert {moment.date() for moment in stay} >= set(days)
    assert {moment.isocalendar()[:2] for moment in stay} >= set(weeks)
    assert len(stay) <= 5
    assert superseded({p: found[p] for p in found if p not in gone}, days=3, weeks=2) == []


def test_a_backup_is_made_when_the_newest_is_too_old(new_address, tmp_path):
    clock = MovableClock()
    (tmp_path / "mine.backup").write_text("not ours")
    (tmp_path / f".{file_name(BEGIN)}.17.part").write_text("of a killed process")
    settings = Settings(
        database_url=new_address,
        backup_folder=str(tmp_path),
        backup_every_hours=12,
        backup_keep_days=2,
        backup_keep_weeks=0,
    )
    services = build_services(settings, clock)
    schedule = BackupSchedule(services)
    first = schedule.once()
    assert first is not None
    assert check(first, None).rows["tenants"] == 1
    assert schedule.once() is None
    for _ in range(7):
        clock.move(hours=12)
        assert schedule.once() is not None
    services.database.close()
    assert len(backups_in(tmp_path)) == 2
    assert (tmp_path / "mine.backup").exists()
    assert list(tmp_path.glob(".*.part")) == []


def test_two_processes_write_one(new_address, tmp_path):
    services = build_services(Settings(database_url=new_address, backup_folder=str(tmp_path)))
    with one_writer(tmp_path) as alone:
        assert alone
        assert BackupSchedule(services).once() is None
    assert BackupSchedule(services).once() is not None
    services.database.close()


def test_without_a_folder_nothing_is_made_and_a_missing_one_is_named(new_address, tmp_path):
    services = build_services(Settings(database_url=new_address))
    assert BackupSchedule(services).once() is None
    services.database.close()
    settings = Settings(database_url=new_address, backup_folder=str(tmp_path / "missing"))
    services = build_services(settings)
    with pytest.raises(BadSetting, match="folder"):
        BackupSchedule(services).once()
    BackupSchedule(services).turn()  # the loop goes on
    services.database.close()
