"""Register of a shop's settings: which groups are kept, and which section of the pages has which?

A group is one message that is kept as a whole. A section is one form of the pages: some fields of a
group, or all that no other section has. Pages, commands, `/v1/settings` and the reference follow
from both, so a new field of a group needs no other edit.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from pydantic import BaseModel

from solespan.api.channels import CHANNELS
from solespan.api.notices.languages import LANGUAGES
from solespan.api.notices.template import check_template, shipped_template
from solespan.api.schemas.bench.shop import BenchSettings
from solespan.api.schemas.forecasts.choices import ForecastChoices
from solespan.api.schemas.notices.notices import NoticeRules
from solespan.api.schemas.planning.care import CareChoices
from solespan.api.schemas.planning.resole_options import LifeSettingsAsked, WayChoices
from solespan.api.schemas.shop import ShopChoices
from solespan.api.services.forecasts import shop_settings as forecast_choices
from solespan.api.services.notices import choices as notice_choices
from solespan.api.services.planning.rack import CARE, LIFE, WAYS
from solespan.api.services.shop_choices import SHOP
from solespan.api.settings import Settings
from solespan.forecast.planning.cost_of_ownership import RESOLES_STOOD

__all__ = ["GROUPS", "MACHINE", "PLACES", "SECTIONS", "Group", "Section"]


@dataclass(frozen=True)
class Group:
    """One group: the name it is kept by, its default, and a check that needs no database."""

    name: str
    default: Callable[[], BaseModel]
    check: Callable[[Any], object] = bool


@dataclass(frozen=True)
class Section:
    """One form: its word in the address, its title, a sentence, its group and fields.

    fields : names of the group's fields; empty = all that no other section has.
    page : address of a page of its own.
    words : what the words of its choices mean.
    says : what a field accepts, where its schema does not say it in words.
    usual : what stands for fields that the default of the group leaves out, as they are typed.
    """

    name: str
    title: str
    lead: str
    group: str
    fields: tuple[str, ...] = ()
    page: str = ""
    words: Mapping[str, str] = field(default_factory=dict)
    usual: Mapping[str, str] = field(default_factory=dict)
    says: Mapping[str, str] = field(default_factory=dict)

    @property
    def address(self) -> str:
        """Where its page is."""
        return self.page or f"/settings/{self.name}"


GROUPS = {
    group.name: group
    for group in (
        Group(SHOP, ShopChoices),
        Group("bench", BenchSettings),
        Group(forecast_choices.NAME, ForecastChoices),
        Group(LIFE, LifeSettingsAsked),
        Group(WAYS, WayChoices),
        Group(CARE, CareChoices),
        Group(notice_choices.RULES, NoticeRules),
        *(
            Group(
                notice_choices.wording_name(code), partial(shipped_template, spoken), check_template
            )
            for code, spoken in LANGUAGES.items()
        ),
    )
}
_WAYS = {
    name: f"{entry.word}: {entry.note}" if entry.note else entry.word
    for name, entry in CHANNELS.items()
}
SECTIONS = (
    Section(
        "shop",
        "Time zone",
        "New customers inherit it. Customers who are there already keep theirs.",
        SHOP,
    ),
    Section(
        "hours",
        "Hours and closures",
        "Promised days, waits and the year ahead follow the open hours.",
        "bench",
        ("hours_by_weekday", "opens_at_hour", "closures"),
    ),
    Section(
        "benches",
        "Benches and work in hand",
        "How many pairs are worked on at once, and what each work needs.",
        "bench",
    ),
    Section(
        "prices",
        "Prices and currency",
        "Quotes start from this price list. All prices are in one currency.",
        "bench",
        ("currency", "price_minor", "leather_cost_minor"),
        says={"currency": "give three capital letters, such as EUR"},
    ),
    Section(
        "tolerances",
        "Tolerances of a finished pair",
        "A finished pair may differ from its record by this much without a reason.",
        "bench",
        (
            "width_tolerance_mm",
            "thickness_tolerance_mm",
            "pitch_tolerance_degrees",
            "stitches_tolerance_per_inch",
        ),
    ),
    Section(
        "bands",
        "Risk and bands",
        "These decide when a date is safe and which band a pair is in. All forecasts follow.",
        forecast_choices.NAME,
    ),
    Section(
        "soles",
        "Soles that a pair can take",
        "Costs and the verdict on a pair follow. Constructions left empty keep common practice.",
        LIFE,
        usual={f"resoles_stood_{name}": str(n) for name, n in RESOLES_STOOD.items()},
    ),
    Section(
        "ways",
        "Ways to a new sole",
        "Plans and costs compare these. Owners may have ways of their own beside them.",
        WAYS,
    ),
    Section(
        "care",
        "Care rules",
        "When care is due on each upper. A rule without numbers and tick is never due.",
        CARE,
    ),
    Section(
        "sender",
        "Name, address and language of the shop",
        "Every mail and letter says who writes, how to reach you, and in which language.",
        notice_choices.RULES,
        ("shop_name", "shop_contact", "mail_from", "reply_to", "language"),
        says={
            "shop_name": "one line of up to 200 characters",
            "mail_from": "give an address with one @",
            "reply_to": "give an address with one @",
        },
        words={code: language.own_name for code, language in LANGUAGES.items()},
    ),
    Section(
        "notices",
        "Rules of notices",
        "Which customers hear from you, when, and by which way.",
        notice_choices.RULES,
        says={
            "quiet_from": "give a time as HH:MM",
            "quiet_to": "give a time as HH:MM",
            "webhook_url": "give an address that begins with https:// or http://",
            "sms_url": "give an address that begins with https:// or http://",
        },
        words=_WAYS | {"book_by": "the book-by date", "send_by": "the send-by date"},
    ),
    *(
        Section(
            "wording" if code == "en" else f"wording-{code}",
            f"Wording of notices: {spoken.name}",
            "The words of every mail and letter in this language.",
            notice_choices.wording_name(code),
            page=f"/notices/wording?language={code}",
        )
        for code, spoken in LANGUAGES.items()
    ),
)
# Lists that have pages of their own: what a shop keeps there, and where.
PLACES = (
    ("Stock items and suppliers", "Soles, welts and who supplies them.", "/stock"),
    ("Staff and keys", "Who may sign in, and with which rights.", "/people"),
    ("Consents", "Which customers agreed to be written to.", "/notices/customers"),
)
# What a value is that the shop has not chosen, where the machine says so.
MACHINE: dict[str, Callable[[Settings], Any]] = {
    "forecast.risk": lambda settings: settings.risk,
    "forecast.bench_wait_days": lambda settings: settings.bench_wait_days,
    "notices.mail_from": lambda settings: settings.smtp_from,
}
