"""Shop settings storage: how are a shop's choices kept: one JSON value a name, with a version?"""

from __future__ import annotations

from functools import cache
from typing import Any

import sqlalchemy as sa
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from solespan.api.storage.change_capture import UNKEPT
from solespan.api.storage.engine import hold_key
from solespan.api.storage.tables.bench import ShopSetting

__all__ = ["find_setting", "known_settings", "put_setting"]

_TABLE: sa.Table = ShopSetting.__table__  # type: ignore[assignment]


def find_setting(
    session: Session, name: str, *, lock: bool = False
) -> tuple[dict[str, Any], int] | None:
    """Return a setting's value and version, or None while nobody has set it.

    With `lock` nobody else replaces it until the transaction ends.
    """
    if lock:
        hold_key(session, "setting", name)
    query = sa.select(_TABLE.c.value, _TABLE.c.version).where(_TABLE.c.name == name)
    row = session.execute(query).one_or_none()
    return None if row is None else (row[0], row[1])


def known_settings(session: Session, names: tuple[str, ...]) -> dict[str, dict[str, Any]]:
    """Return the values of settings that are set; a session asks once, until it writes one."""
    if names not in session.info:
        rows = session.execute(_known_query(), {"names": names})
        session.info[names] = {row[0]: row[1] for row in rows}
    found: dict[str, dict[str, Any]] = session.info[names]
    return found


@cache
def _known_query() -> sa.Select[Any]:
    named = _TABLE.c.name.in_(sa.bindparam("names", expanding=True))
    return sa.select(_TABLE.c.name, _TABLE.c.value).where(named)


def put_setting(
    session: Session, name: str, value: dict[str, Any], version: int, *, kept: bool = False
) -> bool:
    """Write a setting whose version is `version` (0 = not there yet); return whether it was.

    With `kept` the history keeps what it was.
    """
    options = {UNKEPT: not kept}
    for names in [key for key in session.info if isinstance(key, tuple) and name in key]:
        del session.info[names]
    if version == 0:
        try:
            with session.begin_nested():
                session.execute(
                    sa.insert(_TABLE).values(name=name, value=value), execution_options=options
                )
        except IntegrityError:
            return False
        return True
    changed = session.execute(
        sa.update(_TABLE)
        .where(_TABLE.c.name == name, _TABLE.c.version == version)
        .values(value=value, version=version + 1),
        execution_options=options,
    )
    return bool(changed.rowcount)  # type: ignore[attr-defined]
