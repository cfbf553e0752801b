"""Set-up of a channel: what may it know of the operator's settings and of the shop's rules?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from solespan.api.clock import Clock
from solespan.api.settings import Settings

__all__ = ["ChannelSettings", "ShopRules"]


class ShopRules(Protocol):
    """What a channel reads of the shop's rules of notices."""

    @property
    def shop_name(self) -> str:
        """Who writes."""

    @property
    def mail_from(self) -> str | None:
        """Address that mail comes from; None = the operator's."""

    @property
    def reply_to(self) -> str | None:
        """Where replies by mail go."""

    @property
    def sms_url(self) -> str | None:
        """Where the SMS hook is."""

    @property
    def webhook_url(self) -> str | None:
        """Where the webhook posts to."""


@dataclass(frozen=True)
class ChannelSettings:
    """The operator's settings, the shop's rules, the key of its webhook, and the time."""

    settings: Settings
    rules: ShopRules
    webhook_key: str
    clock: Clock
