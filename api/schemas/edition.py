"""Edition of a form: did what stands there change after a person opened it, and in which fields?

A form carries the edition of the values that it was made with: a hash of all, and a short one of
each field. So the service keeps no copy. A field that the person left as it was takes the newer
value, and one that they changed keeps what was typed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

from solespan.api.errors import StaleVersion
from solespan.api.schemas.forms import text_of

__all__ = [
    "EDITION",
    "ChangedMeanwhile",
    "FieldChange",
    "edition_of",
    "refuse_other_edition",
    "with_edition",
]

EDITION = "edition"  # the name of the hidden field
_WHOLE, _PART = 16, 4  # hexadecimal digits


@dataclass(frozen=True)
class FieldChange:
    """A field that somebody else changed: its value now, and what was typed, if it differs."""

    name: str
    now: str
    typed: str | None


class ChangedMeanwhile(StaleVersion):
    """Somebody else saved after the form was opened; `values` is the form to show again."""

    def __init__(self, changes: tuple[FieldChange, ...], values: dict[str, str]) -> None:
        super().__init__(
            "Somebody else saved a change after you opened this page.",
            where="the form",
            accepted="what stands there now",
            remedy="Nothing of yours is lost: look at what changed, and save again.",
        )
        self.changes = changes
        self.values = values


def edition_of(values: Mapping[str, str]) -> str:
    """Return the edition of the values of a form; empty fields do not count."""
    filled = {name: text_of(values, name) for name in sorted(values) if text_of(values, name)}
    whole = _hash("\n".join(f"{name}\t{text}" for name, text in filled.items()), _WHOLE)
    return whole + "".join(_hash(n, _PART) + _hash(text, _PART) for n, text in filled.items())


def with_edition(values: Mapping[str, str]) -> dict[str, str]:
    """Return the values of a form with their edition."""
    return {**values, EDITION: edition_of(values)}


def refuse_other_edition(
    typed: Mapping[str, str], now: Mapping[str, str], kept: frozenset[str] = frozenset()
) -> None:
    """Raise `ChangedMeanwhile` unless the form was made with the values that stand there now.

    A form without an edition was made where nothing stood. `kept` are fields of one saving
    only, such as a reason.
    """
    seen = typed.get(EDITION, "") or edition_of({})
    if seen[:_WHOLE] == edition_of(now)[:_WHOLE]:
        return
    parts = seen[_WHOLE:]
    width = 2 * _PART
    known = {
        parts[at : at + _PART]: parts[at + _PART : at + width] for at in range(0, len(parts), width)
    }
    values, changes = dict(typed), []
    for name in sorted({*now, *typed} - {EDITION, *kept}):
        before = known.get(_hash(name, _PART), "")
        mine, theirs = text_of(typed, name), text_of(now, name)
        if before == (_hash(theirs, _PART) if theirs else "") or (name not in now and not before):
            continue
        touched = before != (_hash(mine, _PART) if mine else "")
        changes.append(FieldChange(name, theirs, mine if touched and mine != theirs else None))
        values[name] = mine if touched else theirs
    raise ChangedMeanwhile(tuple(changes), values | {EDITION: edition_of(now)})


def _hash(text: str, digits: int) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:digits]
