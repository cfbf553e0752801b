"""Changes meanwhile: what did somebody else save while a form was open, in words?

Takes plain values and gives words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

__all__ = ["changes_told"]

MOST_ROWS = 12
MOST_CHARACTERS = 300


def changes_told(
    changes: Sequence[Any], last: Mapping[str, Any] | None, labels: Mapping[str, str]
) -> dict[str, Any]:
    """Say who saved meanwhile, and each field that changed: its value now, and what was typed.

    Parameters
    ----------
    changes : sequence of objects with `name`, `now` and `typed`
        `typed` is None where the person left the field alone.
    last : mapping, optional
        `actor` and `at` of the newest change.
    labels : mapping
        What the form calls each field.
    """
    at: datetime | None = last["at"] if last else None
    who = (last["actor"] if last else None) or "Somebody else"
    return {
        "lead": f"{who} saved a change{f' at {at:%H:%M} UTC' if at else ''} "
        "after you opened this page. Nothing of yours is lost, and nothing was overwritten.",
        "rows": [
            {
                "label": labels.get(one.name, _spaced(one.name)),
                "now": _shown(one.now),
                "typed": None if one.typed is None else _shown(one.typed),
            }
            for one in changes[:MOST_ROWS]
        ],
        "more": max(0, len(changes) - MOST_ROWS),
    }


def _spaced(name: str) -> str:
    text = name.removesuffix("_mm").replace("_", " ").replace("-", " ")
    return f"{text[:1].upper()}{text[1:]}"


def _shown(text: str) -> str:
    cut = text if len(text) <= MOST_CHARACTERS else f"{text[:MOST_CHARACTERS]} ..."
    return {"true": "yes", "": "empty"}.get(cut, cut)
