"""Backup schedule: when is the next backup due, and which of the older ones go?"""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import structlog

from solespan.api.errors import SolespanError
from solespan.api.services.context import AppContext
from solespan.api.services.periodic_loop import PeriodicLoop
from solespan.api.storage.backup.dump import dump
from solespan.api.storage.backup.folder import (
    backups_in,
    file_name,
    forget_parts,
    one_writer,
    superseded,
)

__all__ = ["BackupSchedule"]

log = structlog.get_logger("solespan.backups")

LOOK_EVERY_S = 300.0


class BackupSchedule(PeriodicLoop):
    """Writes a backup where the newest in the folder is too old, then deletes superseded ones."""

    name = "backups"

    def __init__(self, ctx: AppContext) -> None:
        super().__init__()
        self._ctx = ctx

    def turn(self) -> None:
        """Look, and write one if it is due; a failure is logged, and tried again."""
        try:
            self.once()
        except SolespanError as problem:
            log.error("backup_failed", code=problem.code, where=problem.where)  # noqa: TRY400

    def pause(self) -> None:
        """Wait for the next look."""
        self._wake.wait(LOOK_EVERY_S)
        self._wake.clear()

    def once(self) -> Path | None:
        """Write a backup if one is due; return its path."""
        settings, now = self._ctx.settings, self._ctx.clock.now()
        if settings.backup_folder is None:
            return None
        folder = Path(settings.backup_folder)
        if not self._due(folder):
            return None
        with one_writer(folder) as alone:
            if not alone or not self._due(folder):  # another process did it meanwhile
                return None
            forget_parts(folder)
            given = settings.backup_passphrase
            path = folder / file_name(now)
            report = dump(
                self._ctx.database,
                path,
                passphrase=given.get_secret_value() if given is not None else None,
                now=now,
            )
            gone = superseded(
                backups_in(folder),
                days=settings.backup_keep_days,
                weeks=settings.backup_keep_weeks,
            )
            for old in gone:
                old.unlink(missing_ok=True)
        rows = sum(report.rows.values())
        log.info("backup", rows=rows, size_bytes=report.size_bytes, deleted=len(gone))
        return path

    def _due(self, folder: Path) -> bool:
        newest = max(backups_in(folder).values(), default=None)
        age = timedelta(hours=self._ctx.settings.backup_every_hours)
        return newest is None or self._ctx.clock.now() - newest >= age
