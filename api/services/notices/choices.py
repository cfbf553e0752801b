"""Choices service: how does a shop read and change its rules and wording of notices?"""

from __future__ import annotations

from typing import Any, TypeVar

from sqlalchemy.orm import Session

from solespan.api.errors import StaleVersion
from solespan.api.notices.template import check_template, shipped_template
from solespan.api.schemas.notices.notices import NoticeRules, NoticeTemplate
from solespan.api.schemas.rack.records import Message
from solespan.api.storage.shop_settings import find_setting, put_setting

__all__ = ["change_rules", "change_template", "read_rules", "read_template"]

RULES = "notices"
TEMPLATE = "notice_template"
M = TypeVar("M", bound=Message)


def read_rules(session: Session) -> tuple[NoticeRules, int]:
    """Return the rules and their version; version 0 = the defaults."""
    return _read(session, RULES, NoticeRules())


def read_template(session: Session) -> tuple[NoticeTemplate, int]:
    """Return the wording and its version; version 0 = as shipped."""
    return _read(session, TEMPLATE, shipped_template())


def change_rules(session: Session, rules: NoticeRules, versions: frozenset[int] | None) -> int:
    """Replace the rules if they have one of `versions` (None = any); return the new version.

    Raises `StaleVersion`.
    """
    return _change(session, RULES, rules.model_dump(mode="json"), versions)


def change_template(
    session: Session, template: NoticeTemplate, versions: frozenset[int] | None
) -> int:
    """Replace the wording if it can be used; return the new version.

    Raises `TemplateRefused`, `StaleVersion`.
    """
    check_template(template)
    return _change(session, TEMPLATE, template.model_dump(mode="json"), versions)


def _read(session: Session, name: str, default: M) -> tuple[M, int]:
    found = find_setting(session, name)
    if found is None:
        return default, 0
    return type(default).model_validate(found[0]), found[1]


def _change(
    session: Session, name: str, value: dict[str, Any], versions: frozenset[int] | None
) -> int:
    found = find_setting(session, name)
    version = 0 if found is None else found[1]
    known = versions is None or version in versions
    if not known or not put_setting(session, name, value, version):
        raise StaleVersion(
            "These settings have changed since they were read.",
            where="header If-Match",
            accepted="the ETag of the stored settings",
            remedy="Read them again and decide again.",
        )
    return version + 1
