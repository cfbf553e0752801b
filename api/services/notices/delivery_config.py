"""Delivery config service.

What does this shop send with, and what is still missing before anything can go out?
"""

from __future__ import annotations

import hashlib
import hmac
from urllib.parse import urlsplit

from solespan.api.channels import CHANNELS, ChannelSettings
from solespan.api.channels.message import Channel
from solespan.api.channels.webhook.signed_post import secret_of_bytes
from solespan.api.errors import BadSetting
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.services.context import AppContext

__all__ = ["channels_of", "link_base", "mail_domain", "problems_of", "secret_of", "webhook_key"]


def secret_of(ctx: AppContext) -> str:
    """Return the secret that signs links. Raises `BadSetting` while there is none."""
    if ctx.settings.secret_key is None:
        raise BadSetting(
            "There is no secret to sign the links in notices with.",
            where="environment variable SOLESPAN_SECRET_KEY",
            accepted="at least 32 secret characters",
            remedy='Make one: python3 -c "import secrets; print(secrets.token_urlsafe(32))"',
        )
    return ctx.settings.secret_key.get_secret_value()


def link_base(ctx: AppContext) -> str:
    """Return what every link begins with. Raises `BadSetting` while it is not set."""
    if ctx.settings.public_address is None:
        raise BadSetting(
            "The links in notices would lead nowhere: the public address is not set.",
            where="environment variable SOLESPAN_PUBLIC_ADDRESS",
            accepted="https://name, without a path",
            remedy="Set it to the address that the service has for customers.",
        )
    return ctx.settings.public_address


def mail_domain(ctx: AppContext) -> str:
    """Return the domain of Message-IDs."""
    return urlsplit(link_base(ctx)).hostname or "localhost"


def webhook_key(ctx: AppContext) -> str:
    """Return the secret that signs this shop's notices: its own, made from the operator's."""
    if ctx.settings.secret_key is None:
        return ""
    use = f"solespan webhook {ctx.database.tenant_pk}".encode()
    return secret_of_bytes(hmac.digest(secret_of(ctx).encode(), use, hashlib.sha256))


def channels_of(ctx: AppContext, rules: NoticeRules) -> dict[str, Channel]:
    """Build every channel of the register for this shop."""
    setup = ChannelSettings(ctx.settings, rules, webhook_key(ctx), ctx.clock)
    return {name: entry.make(setup) for name, entry in CHANNELS.items()}


def problems_of(ctx: AppContext, rules: NoticeRules) -> list[str]:
    """Say everything that keeps notices from going out as the rules want; empty = nothing."""
    found = []
    for needed in (secret_of, link_base):
        try:
            needed(ctx)
        except BadSetting as missing:
            found.append(f"{missing.what} {missing.remedy}")
    if not rules.shop_name:
        found.append("Give the shop's name in the rules: a notice says who writes.")
    if not rules.shop_contact.strip():
        found.append(
            "Say in the rules how the shop is reached: a notice asks people to be in touch."
        )
    made = channels_of(ctx, rules)
    return found + [made[name].missing for name in rules.channels if made[name].missing]
