"""Rules form service: what was typed into the form of the rules, and can it be a rule?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from solespan.api.schemas.notices.notices import CHANNEL_NAMES, NOTICE_BANDS, NoticeRules
from solespan.api.services.page_forms import FormProblem

__all__ = ["read_rules_form"]

_TICKS = ("automatic", "levelled")
_LISTS = {"bands": NOTICE_BANDS, "channels": CHANNEL_NAMES}
_OPTIONAL = ("reply_to", "webhook_url", "chance_at_least")
_SAY = {
    "channels": "choose one way at least",
    "reply_to": "give an address with one @",
    "webhook_url": "give an address that begins with https:// or http://",
    "chance_at_least": "give a number from 1 to 100, or leave it empty",
    "quiet_from": "give a time as HH:MM",
    "quiet_to": "give a time as HH:MM",
    "shop_name": "one line of up to 200 characters",
}


def read_rules_form(typed: Mapping[str, str]) -> NoticeRules:
    """Read the form. Raises `FormProblem` with what is wrong, by field."""
    values: dict[str, Any] = {}
    for name, field in NoticeRules.model_fields.items():
        text = typed.get(name, "").strip()
        if name in _TICKS:
            values[name] = typed.get(name) == "true"
        elif name in _LISTS:
            values[name] = [w for w in _LISTS[name] if typed.get(f"{name}_{w}") == "true"]
        elif name in _OPTIONAL and not text:
            values[name] = None
        elif name == "chance_at_least":
            values[name] = _share(text)
        elif name in typed:
            # browsers send line ends as CR LF
            text = text.replace("\r\n", "\n")
            values[name] = _number(text) if field.annotation is not str else text
    try:
        return NoticeRules.model_validate(values)
    except ValidationError as cause:
        errors = {str(fault["loc"][0]): _say(fault) for fault in cause.errors()}
        raise FormProblem(errors) from None


def _number(text: str) -> object:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else text


def _share(text: str) -> object:
    try:
        return float(text.replace(",", ".")) / 100
    except ValueError:
        return text


def _say(fault: Any) -> str:
    name = str(fault["loc"][0])
    if name in _SAY:
        return _SAY[name]
    field = NoticeRules.model_fields[name]
    bounds = {type(m).__name__: m for m in field.metadata}
    if "Ge" in bounds and "Le" in bounds:
        return f"give a whole number from {bounds['Ge'].ge} to {bounds['Le'].le}"
    return "choose one of those offered"
