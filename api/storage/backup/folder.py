"""Backup folder: which backups are there, which may go, and who writes the next one?"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path

from solespan.api.errors import BadSetting

__all__ = ["backups_in", "file_name", "forget_parts", "one_writer", "superseded"]

FORM = "solespan-%Y%m%dT%H%M%SZ.backup"
_OURS = re.compile(r"solespan-\d{8}T\d{6}Z\.backup")
_PARTS = re.compile(rf"\.{_OURS.pattern}\.\d+\.part")
LOCK = ".solespan-backups.lock"


def file_name(now: datetime) -> str:
    """Return the name of a backup that is made now."""
    return now.astimezone(UTC).strftime(FORM)


def backups_in(folder: Path) -> dict[Path, datetime]:
    """Return the backups that the service made, oldest first, and when. Raises `BadSetting`."""
    try:
        names = sorted(path.name for path in folder.iterdir() if _OURS.fullmatch(path.name))
    except OSError as cause:
        raise BadSetting(
            f"The folder for backups cannot be read: {cause.strerror or cause}.",
            where="environment variable SOLESPAN_BACKUP_FOLDER",
            accepted="a folder that is there and that the service may write to",
            remedy="Make the folder, or name another.",
        ) from cause
    return {folder / name: datetime.strptime(name, FORM).replace(tzinfo=UTC) for name in names}


def superseded(found: dict[Path, datetime], *, days: int, weeks: int) -> list[Path]:
    """Return the backups that may go: the newest of each of the last days and weeks stay.

    Days and weeks without a backup do not count, so a service that stood still deletes nothing.
    """

    def newest_of_each(key: Callable[[date], object], most: int) -> Sequence[Path]:
        newest = {key(moment.date()): path for path, moment in found.items()}
        return list(newest.values())[-most:] if most else []

    stay = {
        *newest_of_each(lambda day: day, days),
        *newest_of_each(lambda day: day.isocalendar()[:2], weeks),
    }
    return [path for path in found if path not in stay]


def forget_parts(folder: Path) -> None:
    """Delete what a process left that was killed while it wrote; only the one writer may."""
    for path in folder.iterdir():
        if _PARTS.fullmatch(path.name):
            path.unlink(missing_ok=True)


@contextmanager
def one_writer(folder: Path) -> Iterator[bool]:
    """Say whether this process alone writes into the folder now; a killed one holds nothing."""
    descriptor = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        yield _locked(descriptor)
    finally:
        os.close(descriptor)


def _locked(descriptor: int) -> bool:
    if sys.platform == "win32":
        return True  # two backups of one day: the older goes
    import fcntl  # noqa: PLC0415 - only where there is one

    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
