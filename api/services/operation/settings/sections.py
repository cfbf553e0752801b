"""Settings service: what has a shop set, what is the default, and how is it changed or reset?

A form changes only if it was made with what stands there now. So two people never overwrite each
other, also where their forms are of one group.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel
from sqlalchemy.orm import Session

from solespan.api.errors import NotFound
from solespan.api.schemas.edition import refuse_other_edition
from solespan.api.schemas.forms import Typed
from solespan.api.schemas.merge_patch import merge
from solespan.api.schemas.model_form import read_model_form, typed_of
from solespan.api.services.operation.settings.register import GROUPS, MACHINE, SECTIONS, Section
from solespan.api.services.shop_choices import change_choices, read_choices
from solespan.api.settings import Settings
from solespan.api.storage.session import Database
from solespan.api.storage.shop_settings import known_settings

__all__ = [
    "FIRST_RUN",
    "change_section",
    "describe_settings",
    "fields_of",
    "find_section",
    "machine_defaults",
    "patch_group",
    "read_group",
    "reset_value",
    "section_values",
    "set_groups",
]

FIRST_RUN = "first_run"  # what was done once, such as a test mail
NAMES = (*GROUPS, FIRST_RUN)


def find_section(name: str) -> Section:
    """Return a section that has a form of its own. Raises `NotFound`."""
    found = {section.name: section for section in SECTIONS if not section.page}
    if name not in found:
        raise NotFound(
            f"There are no settings {name!r}.",
            accepted=", ".join(found),
            remedy="Choose one on the page Settings.",
        )
    return found[name]


def fields_of(section: Section) -> tuple[str, ...]:
    """Return the fields that a section's form has."""
    if section.fields:
        return section.fields
    others = {f for other in SECTIONS if other.group == section.group for f in other.fields}
    model = type(GROUPS[section.group].default())
    return tuple(name for name in model.model_fields if name not in others)


def read_group(session: Session, name: str) -> tuple[Any, int]:
    """Return the choices of a group and their version; 0 = the defaults. Raises `NotFound`."""
    if name not in GROUPS:
        raise NotFound(
            f"There is no group of settings {name!r}.",
            where="group",
            accepted=", ".join(GROUPS),
            remedy="See all settings: solespan settings show, or GET /v1/settings",
        )
    return read_choices(session, name, GROUPS[name].default())


def set_groups(session: Session) -> dict[str, dict[str, Any]]:
    """Return what the shop has set, by group; what it never chose is not there."""
    return known_settings(session, NAMES)


def section_values(session: Session, section: Section) -> dict[str, str]:
    """Return a section's values as they would be typed into its form."""
    choices, _ = read_group(session, section.group)
    typed, names = typed_of(choices), fields_of(section)
    return {
        key: text
        for key, text in typed.items()
        if any(key == name or key.startswith(f"{name}_") for name in names)
    }


def machine_defaults(settings: Settings, group: str) -> dict[str, Any]:
    """Return what the values of a group are that the machine decides while the shop does not."""
    found = {name.partition(".")[2]: get(settings) for name, get in MACHINE.items()
             if name.startswith(f"{group}.")}  # fmt: skip
    return {name: value for name, value in found.items() if value is not None}


def change_section(session: Session, section: Section, typed: Typed) -> None:
    """Keep what was typed into a section's form.

    Raises `FormProblem`, `ChangedMeanwhile`.
    """
    group = GROUPS[section.group]
    choices, version = read_choices(session, section.group, group.default(), lock=True)
    refuse_other_edition(typed, section_values(session, section))
    known = choices.model_dump(mode="json", exclude_unset=True)
    changed = read_model_form(type(choices), typed, fields_of(section), known, section.says)
    change_choices(session, section.group, changed, frozenset({version}))


def patch_group(
    database: Database, name: str, patch: Mapping[str, Any], versions: frozenset[int] | None
) -> tuple[BaseModel, int]:
    """Apply a JSON merge patch to a group; null = the default again.

    What it makes is checked before a transaction begins, so no other writer waits for that. Raises
    `NotFound`, `StaleVersion`, and `ValidationError` for what cannot be.
    """
    with database.reading() as session:
        choices, version = read_group(session, name)
    group = GROUPS[name]
    merged = merge(choices.model_dump(mode="json"), patch)
    known = {*choices.model_fields_set, *patch}
    shipped = group.default().model_dump(mode="json", exclude_unset=True)
    changed = type(choices).model_validate(
        shipped | {k: v for k, v in merged.items() if k in known}
    )
    group.check(changed)
    seen = frozenset({version})
    with database.writing() as session:
        return changed, change_choices(
            session, name, changed, seen if versions is None else seen & versions
        )


def reset_value(database: Database, name: str) -> None:
    """Give a setting, or a whole group, its default again. Raises `NotFound`."""
    group, _, path = name.partition(".")
    with database.reading() as session:
        choices, _ = read_group(session, group)
    names = [path.split(".")[0]] if path else list(type(choices).model_fields)
    _refuse_unknown(type(choices), group, names)
    inner = path.split(".")[1:] if path else []
    value: Any = GROUPS[group].default().model_dump(mode="json")[names[0]] if inner else None
    for part in inner:  # a part that the default names has its own value again
        value = value.get(part) if isinstance(value, dict) else None
    for part in reversed(inner):
        value = {part: value}
    patch_group(database, group, dict.fromkeys(names, value), None)


def _refuse_unknown(model: type[BaseModel], group: str, names: list[str]) -> None:
    for name in names:
        if name not in model.model_fields:
            raise NotFound(
                f"There is no setting {group}.{name}.",
                where="the name",
                accepted=", ".join(f"{group}.{known}" for known in model.model_fields),
                remedy="See all settings: solespan settings show",
            )


def describe_settings(session: Session, settings: Settings) -> Iterator[dict[str, Any]]:
    """Yield every setting: name, title, page, value, default, and where the value is from."""
    known = set_groups(session)
    for section in SECTIONS:
        default = GROUPS[section.group].default()
        mine = known.get(section.group, {})
        chosen = type(default).model_validate(mine) if mine else default
        machine = machine_defaults(settings, section.group)
        values, defaults = (one.model_dump(mode="json") for one in (chosen, default))
        for name in fields_of(section):
            usual = machine.get(name, defaults[name])
            own = values[name] is not None and name in mine
            yield {
                "name": f"{section.group}.{name}",
                "section": section.title,
                "page": section.address,
                "value": values[name] if own else usual,
                "default": usual,
                "origin": "shop" if own else "machine" if name in machine else "default",
            }
