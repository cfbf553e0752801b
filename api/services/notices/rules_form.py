"""Rules form: which rules were typed, and can they be rules?"""

from __future__ import annotations

from typing import Any

from solespan.api.schemas.forms import Typed, read_form, share, text_of
from solespan.api.schemas.notices.notices import NoticeRules

__all__ = ["read_rules_form"]

_SAYS = {
    "channels": "choose one way at least",
    "reply_to": "give an address with one @",
    "sms_url": "give an address that begins with https:// or http://",
    "webhook_url": "give an address that begins with https:// or http://",
    "chance_at_least": "give a number from 1 to 100, or leave it empty",
    "quiet_from": "give a time as HH:MM",
    "quiet_to": "give a time as HH:MM",
    "shop_name": "one line of up to 200 characters",
}


def read_rules_form(typed: Typed) -> NoticeRules:
    """Read the form. Raises `FormProblem` with what is wrong, by field."""
    needed = (n for n, field in NoticeRules.model_fields.items() if field.default is not None)
    more: dict[str, Any] = {name: "" for name in needed if typed.get(name, "-").strip() == ""}
    if percent := text_of(typed, "chance_at_least"):
        more["chance_at_least"] = share(percent)
    return read_form(NoticeRules, typed, more=more, says=_SAYS)
