"""Shop choices: how is one group of them read, and changed only by a person who read it?"""

from __future__ import annotations

from typing import TypeVar

from pydantic import BaseModel
from sqlalchemy.orm import Session

from solespan.api.errors import StaleVersion
from solespan.api.schemas.shop import ShopChoices
from solespan.api.storage.scope import name_changed
from solespan.api.storage.shop_settings import find_setting, known_settings, put_setting

__all__ = [
    "change_choices",
    "change_shop_choices",
    "read_choices",
    "read_shop_choices",
    "shop_time_zone",
    "shop_zone",
]

SHOP = "shop"

C = TypeVar("C", bound=BaseModel)


def read_choices(session: Session, name: str, default: C, *, lock: bool = False) -> tuple[C, int]:
    """Return the choices of a name and their version; version 0 = the default.

    With `lock` nobody else replaces them until the transaction ends.
    """
    found = find_setting(session, name, lock=lock)
    if found is None:
        return default, 0
    return type(default).model_validate(found[0]), found[1]


def change_choices(
    session: Session, name: str, choices: BaseModel, versions: frozenset[int] | None
) -> int:
    """Replace them if they have one of `versions` (None = any); return the new version.

    What was not set stays unset, so that it follows its default. The history keeps what was.
    Raises `StaleVersion`.
    """
    found = find_setting(session, name, lock=True)
    version = 0 if found is None else found[1]
    known = versions is None or version in versions
    value = choices.model_dump(mode="json", exclude_unset=True)
    if not known or not put_setting(session, name, value, version, kept=True):
        raise StaleVersion(
            "These settings have changed since they were read.",
            where="header If-Match",
            accepted="the ETag of the stored settings",
            remedy="Read them again and decide again.",
        )
    name_changed(settings=name)
    return version + 1


def read_shop_choices(session: Session) -> tuple[ShopChoices, int]:
    """Return what customers inherit and its version; version 0 = the default."""
    return read_choices(session, SHOP, ShopChoices())


def change_shop_choices(
    session: Session, choices: ShopChoices, versions: frozenset[int] | None
) -> int:
    """Replace it if it has one of `versions` (None = any); return the new version.

    Customers who are there already keep their time zone. Raises `StaleVersion`.
    """
    return change_choices(session, SHOP, choices, versions)


def shop_time_zone(session: Session) -> str:
    """Return the time zone of customers who give none; UTC while the shop has chosen none."""
    return shop_zone(session)


def shop_zone(session: Session, otherwise: str = "UTC") -> str:
    """Return the time zone of the shop's days; `otherwise` while the shop has chosen none."""
    kept = known_settings(session, (SHOP,)).get(SHOP, {})
    return ShopChoices.model_validate(kept).time_zone or otherwise
