"""HTTP schemas of notices.

Which fields do the rules, templates and histories of notices have?
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, StringConstraints, field_validator

from solespan.api.channels import CHANNELS
from solespan.api.schemas.fields import KnownId, with_a_host
from solespan.api.schemas.merge_patch import patch_model
from solespan.api.schemas.rack.records import MAX_PAGE, Answer, Message
from solespan.dashboards.language import LANGUAGES

__all__ = [
    "NOTICE_BANDS",
    "DecisionFilters",
    "DecisionPage",
    "NoticeDetail",
    "NoticeFilters",
    "NoticePage",
    "NoticeRules",
    "NoticeRulesPatch",
    "NoticeRulesStored",
    "NoticeRun",
    "NoticeTemplate",
    "NoticeTemplatePatch",
    "NoticeTemplateStored",
]

NOTICE_BANDS = ("watch", "book in", "stop wearing")
CHANCE_DAYS = (30, 90, 180, 365)
CHANNEL_NAMES = tuple(CHANNELS)

_ONE_LINE = r"^[^\x00-\x1f\x7f\x85\u2028\u2029]*$"
Line = Annotated[str, StringConstraints(max_length=200, strip_whitespace=True, pattern=_ONE_LINE)]
Text = Annotated[str, StringConstraints(max_length=2000, pattern=r"^[^\x00]*$")]
Source = Annotated[str, StringConstraints(max_length=20_000, pattern=r"^[^\x00]*$")]
Address = Annotated[
    str, StringConstraints(min_length=3, max_length=320, pattern=r"^[^@\s\x00]+@[^@\s\x00]+$")
]
HookAddress = Annotated[
    str,
    StringConstraints(max_length=500, pattern=r"^https?://[^\s\x00-\x1f]+$"),
    AfterValidator(with_a_host),
]
ChannelName = Literal[CHANNEL_NAMES]  # type: ignore[valid-type]
LanguageCode = Literal[tuple(LANGUAGES)]  # type: ignore[valid-type]
BandName = Literal[NOTICE_BANDS]  # type: ignore[valid-type]


def _minute(text: str) -> str:
    dt.time.fromisoformat(text)
    return text


TimeOfDay = Annotated[
    str, StringConstraints(pattern=r"^[0-2][0-9]:[0-5][0-9]$"), AfterValidator(_minute)
]


class NoticeRules(Message):
    """When a shop writes to a customer about a pair, and how."""

    automatic: bool = Field(
        default=False,
        title="Send by itself",
        description="whether notices are sent without a person; else a person sends them. "
        "Unit: true or false",
    )
    shop_name: Line = Field(
        default="", title="The shop's name", description="who writes. Unit: none (text)"
    )
    mail_from: Address | None = Field(
        default=None,
        title="Address that mail comes from",
        description="address that notices come from; null = as the operator set it. "
        "Unit: none (address)",
    )
    shop_contact: Text = Field(
        default="",
        title="How the shop is reached: address, telephone",
        description="how the shop is reached, under each notice. Unit: none (text)",
    )
    reply_to: Address | None = Field(
        default=None,
        title="Address that replies go to",
        description="where replies by mail go. Unit: none (address)",
    )
    language: LanguageCode = Field(  # type: ignore[valid-type]
        default="en",
        title="Language of customers",
        description="language of customers whose record names none. Unit: none (code)",
    )
    bands: list[BandName] = Field(
        default=list(NOTICE_BANDS),
        max_length=3,
        title="Write about pairs in these bands",
        description="bands whose pairs are written about. Unit: none (list of words)",
    )
    chance_at_least: Annotated[float, Field(gt=0, le=1)] | None = Field(
        default=None,
        title="Or with a chance of at least",
        description="or a chance of being at the limit, in any band. Unit: probability",
    )
    chance_days: Literal[CHANCE_DAYS] = Field(  # type: ignore[valid-type]
        default=90,
        title="That chance counts within",
        description="days within which that chance counts. Unit: days",
    )
    weeks_ahead: int = Field(
        default=4,
        ge=0,
        le=52,
        title="How long before the day a notice goes",
        description="how long before the day a notice goes. Unit: weeks",
    )
    ahead_of: Literal["book_by", "send_by"] = Field(
        default="book_by",
        title="Which day that is",
        description="which day that is. Unit: none (word)",
    )
    gather_weeks: int = Field(
        default=4,
        ge=0,
        le=26,
        title="Pairs that follow within this time come along",
        description="pairs that would follow within this time come along. Unit: weeks",
    )
    weeks_between: int = Field(
        default=6,
        ge=1,
        le=104,
        title="At most one notice to a customer in",
        description="at most one notice to a customer in it. Unit: weeks",
    )
    second_after_weeks: int = Field(
        default=6,
        ge=0,
        le=52,
        title="A second notice after (0 = never)",
        description="when a second notice may follow; 0 = never. Unit: weeks",
    )
    quiet_from: TimeOfDay = Field(
        default="20:00",
        title="Quiet from (their time)",
        description="nothing is sent from, customer's time. Unit: HH:MM",
    )
    quiet_to: TimeOfDay = Field(
        default="08:00",
        title="Quiet until",
        description="until; the same as from = no quiet hours. Unit: HH:MM",
    )
    levelled: bool = Field(
        default=True,
        title="Ask earlier where the bench's plan does",
        description="whether a newer bench plan may ask an owner earlier. Unit: true or false",
    )
    channels: list[ChannelName] = Field(
        default=["mail", "print"],
        min_length=1,
        max_length=len(CHANNEL_NAMES),
        title="Ways to write",
        description="ways to write; the first with consent is taken. Unit: none (list of words)",
    )
    link_days: int = Field(
        default=60,
        ge=7,
        le=365,
        title="Answers may be given for",
        description="how long answers may be given. Unit: days",
    )
    webhook_url: HookAddress | None = Field(
        default=None,
        title="Address of your own software",
        description="where the webhook posts to. Unit: none (address)",
    )
    sms_url: HookAddress | None = Field(
        default=None,
        title="Address of your SMS hook",
        description="where short messages are posted to. Unit: none (address)",
    )

    @field_validator("bands", "channels")
    @classmethod
    def _once_each(cls, words: list[str]) -> list[str]:
        if len(set(words)) < len(words):
            raise ValueError("each word may be used once")
        return words


NoticeRulesPatch = patch_model(NoticeRules)


class NoticeRulesStored(Answer):
    """The rules and their version."""

    version: int = Field(description="counts the changes; 0 = the defaults. Unit: changes")
    rules: NoticeRules = Field(description="the choices. Unit: none (object)")


class NoticeTemplate(Message):
    """The wording of a notice, as Jinja2 templates."""

    subject: Source = Field(description="one line. Unit: none (template)")
    text: Source = Field(description="plain text, for mail and letters. Unit: none (template)")
    html: Source = Field(description="the same as HTML, for mail. Unit: none (template)")


NoticeTemplatePatch = patch_model(NoticeTemplate)


class NoticeTemplateStored(Answer):
    """The templates and their version."""

    version: int = Field(description="counts the changes; 0 = as shipped. Unit: changes")
    template: NoticeTemplate = Field(description="the wording. Unit: none (object)")


class NoticeRun(Answer):
    """What a run decided."""

    decided_at: dt.datetime = Field(description="when. Unit: instant, ISO 8601")
    notices: int = Field(description="customers with a notice. Unit: notices")
    pairs: int = Field(description="pairs in them. Unit: pairs")
    overtaken: int = Field(description="left to another run that was first. Unit: customers")
    problems: list[str] = Field(description="what keeps a channel from sending. Unit: none")


class DecisionFilters(Message):
    """Which decisions are listed."""

    verdict: Literal["notice", "along", "no"] | None = Field(
        default=None, description="only these. Unit: none (word)"
    )
    wearer_id: KnownId | None = Field(
        default=None, description="only this customer's. Unit: none (identifier)"
    )
    limit: int = Field(default=50, ge=1, le=MAX_PAGE, description="most rows. Unit: rows")
    offset: int = Field(default=0, ge=0, le=10**7, description="rows left out. Unit: rows")


class Decision(Answer):
    """What is decided about one pair, and why."""

    pair_id: str = Field(description="the pair. Unit: none (identifier)")
    wearer_id: str = Field(description="the customer. Unit: none (identifier)")
    verdict: str = Field(description="notice, along (with another pair), no. Unit: none (word)")
    why: str = Field(description="the reason as a word. Unit: none (word)")
    reason: str = Field(description="the reason in words. Unit: none (text)")
    channel: str | None = Field(description="by which way. Unit: none (word)")
    sequence: int | None = Field(description="1 = first notice, 2 = second. Unit: notices")


class DecisionPage(Answer):
    """Decisions, and how many there are of each reason."""

    counts: dict[str, int] = Field(description="pairs by reason. Unit: pairs")
    items: list[Decision] = Field(description="the decisions. Unit: none (list)")
    total: int = Field(description="rows that match. Unit: rows")


class NoticeFilters(Message):
    """Which notices are listed."""

    state: Literal["pending", "claimed", "sent", "failed", "cancelled"] | None = Field(
        default=None, description="only these. Unit: none (word)"
    )
    wearer_id: KnownId | None = Field(
        default=None, description="only this customer's. Unit: none (identifier)"
    )
    after: str | None = Field(
        default=None, max_length=200, description="`next` of the page before. Unit: none"
    )
    limit: int = Field(default=50, ge=1, le=MAX_PAGE, description="most rows. Unit: rows")


class NoticeRow(Answer):
    """One notice and where it is."""

    notice_id: str = Field(description="stable identifier. Unit: none (identifier)")
    wearer_id: str = Field(description="the customer. Unit: none (identifier)")
    decided_at: dt.datetime = Field(description="when it was decided. Unit: instant, ISO 8601")
    sequence: int = Field(description="1 = first notice, 2 = second. Unit: notices")
    channel: str = Field(description="by which way. Unit: none (word)")
    state: str = Field(description="where it is. Unit: none (word)")
    attempts: int = Field(description="how often it was tried. Unit: attempts")
    next_try_at: dt.datetime = Field(description="not before. Unit: instant, ISO 8601")
    done_at: dt.datetime | None = Field(description="when it ended. Unit: instant, ISO 8601")
    printed_at: dt.datetime | None = Field(
        description="when a letter was printed; null = not yet, or no letter. "
        "Unit: instant, ISO 8601"
    )
    problem: str | None = Field(description="why not yet, or not at all. Unit: none (text)")
    message_id: str = Field(description="the same at every attempt. Unit: none (identifier)")


class NoticePage(Answer):
    """Notices, newest first."""

    items: list[NoticeRow] = Field(description="the notices. Unit: none (list)")
    next: str | None = Field(description="`after` of the next page. Unit: none (cursor)")


class NoticeDetail(NoticeRow):
    """One notice with its pairs and what was written."""

    pairs: list[dict[str, Any]] = Field(description="pairs and answers. Unit: none (list)")
    subject: str = Field(description="as sent. Unit: none (text)")
    text: str = Field(description="as sent. Unit: none (text)")
