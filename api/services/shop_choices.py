"""Shop choices: how is one group of them read, and changed only by a person who read it?"""

from __future__ import annotations

from typing import TypeVar

from pydantic import BaseModel
from sqlalchemy.orm import Session

from solespan.api.errors import StaleVersion
from solespan.api.storage.shop_settings import find_setting, put_setting

__all__ = ["change_choices", "read_choices"]

C = TypeVar("C", bound=BaseModel)


def read_choices(session: Session, name: str, default: C) -> tuple[C, int]:
    """Return the choices of a name and their version; version 0 = the default."""
    found = find_setting(session, name)
    if found is None:
        return default, 0
    return type(default).model_validate(found[0]), found[1]


def change_choices(
    session: Session, name: str, choices: BaseModel, versions: frozenset[int] | None
) -> int:
    """Replace them if they have one of `versions` (None = any); return the new version.

    Raises `StaleVersion`.
    """
    found = find_setting(session, name)
    version = 0 if found is None else found[1]
    known = versions is None or version in versions
    if not known or not put_setting(session, name, choices.model_dump(mode="json"), version):
        raise StaleVersion(
            "These settings have changed since they were read.",
            where="header If-Match",
            accepted="the ETag of the stored settings",
            remedy="Read them again and decide again.",
        )
    return version + 1
