"""Reception form service: which customer, pair, work, price and day does the form mean?"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.schemas.bench.reception import Reception
from solespan.api.schemas.forms import FormProblem, Typed, Values, minor_units, read_form, text_of
from solespan.api.services.rack import records
from solespan.forecast.values import TEXT_PATTERNS

__all__ = ["NEW", "known_choice", "likely_choice", "read_reception", "whom"]

NEW = "new"
_SAYS = {
    "price_minor": "give an amount of 0 or more, such as 110 or 110.50",
    "phone": f"give {TEXT_PATTERNS['phone'][2]}",
    "what": "say which pair it is, such as brown brogue, needs a sole",
    "name": "give a name or a telephone number",
    "overrule": "give a reason of up to 500 characters, without line breaks",
}


def known_choice(session: Session, wearer: str = "", pair: str = "") -> dict[str, Any]:
    """Return the `value` and the `option` of a customer or pair that is known.

    Raises `NotFound`.
    """
    label = ""
    if pair:
        row = records.read(session, "pairs", {"pair_id": pair})
        wearer, label = row["wearer_id"], row["label"] or pair
    owner = records.read(session, "wearers", {"wearer_id": wearer})
    name = owner["name"] or owner["phone"] or wearer
    value = f"pair {pair}" if pair else f"wearer {wearer}"
    words = f"{name}, {label}" if pair else f"{name}, another pair"
    return {"value": value, "option": (value, words, owner["phone"] or "")}


def likely_choice(who: str, customers: Sequence[Mapping[str, Any]]) -> str:
    """Return the one customer of exactly this name or number; else a new one."""
    same = [
        one["wearer_id"]
        for one in customers
        if who.casefold() == (one["name"] or "").casefold()
        or (_digits(who) and _digits(who) == _digits(one["phone"] or ""))
    ]
    return f"wearer {same[0]}" if len(same) == 1 else NEW


def _digits(text: str) -> str:
    """Return the digits of a telephone number; empty for what is none."""
    number = re.fullmatch(TEXT_PATTERNS["phone"][0], text)
    return re.sub(r"[^0-9]", "", text) if number else ""


def read_reception(typed: Typed) -> Reception:
    """Read the form. Raises `FormProblem`."""
    more = whom(typed)
    if more["pair_id"] is None and not text_of(typed, "what"):
        raise FormProblem({"what": _SAYS["what"]})
    if price := text_of(typed, "amount"):
        more["price_minor"] = minor_units(price)
    more["here"] = typed.get("here", "true") == "true"
    fields = {"price_minor": "amount", "name": "who"}
    return read_form(Reception, typed, more=more, fields=fields, says=_SAYS)


def whom(typed: Typed) -> Values:
    """Return the known pair or customer that is chosen, else the new customer's name and number.

    Raises `FormProblem`.
    """
    kind, _, known = typed.get("choice", NEW).partition(" ")
    if kind in ("pair", "wearer") and known:
        return {"pair_id": None, "wearer_id": None} | {f"{kind}_id": known}
    return {"pair_id": None, "wearer_id": None} | _new_customer(typed)


def _new_customer(typed: Typed) -> Values:
    who, phone = text_of(typed, "who"), text_of(typed, "phone")
    if not who and not phone:
        raise FormProblem({"who": _SAYS["name"]})
    if not phone and re.fullmatch(TEXT_PATTERNS["phone"][0], who):
        return {"name": None, "phone": who}
    return {"name": who or None, "phone": phone or None}
