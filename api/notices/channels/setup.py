"""Channel setup: what may a channel know of the operator's settings and of the shop's rules?"""

from __future__ import annotations

from dataclasses import dataclass

from solespan.api.clock import Clock
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.settings import Settings

__all__ = ["ChannelSettings"]


@dataclass(frozen=True)
class ChannelSettings:
    """The operator's settings, the shop's rules, the key of its webhook, and the time."""

    settings: Settings
    rules: NoticeRules
    webhook_key: str
    clock: Clock
