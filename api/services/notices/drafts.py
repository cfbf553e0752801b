"""Drafts service.

How does a decision become a notice: its words, its links, and the rows that keep it?
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4

import pandas as pd

from solespan.api.channels import CHANNELS, ON_PAPER
from solespan.api.notices.decide import FOOT
from solespan.api.notices.languages import Language, language_of
from solespan.api.notices.links import Link, sign_link
from solespan.api.notices.pair_words import felt_words, nobody, price_words, wait_words
from solespan.api.notices.short_words import short_text
from solespan.api.notices.template import Rendered, render_notice
from solespan.api.notices.words import (
    CAUTIONS,
    THUMB_CHECK,
    bring_by,
    due_window,
    how_sure,
)
from solespan.api.schemas.notices.notices import NoticeRules, NoticeTemplate
from solespan.api.services.context import AppContext
from solespan.api.services.notices.delivery_config import link_base, mail_domain, secret_of
from solespan.api.services.notices.pair_facts import PairFacts

__all__ = ["UNSUBSCRIBE_DAYS", "Draft", "Writer"]

UNSUBSCRIBE_DAYS = 730  # a way out must outlive the mail's usefulness
_ANSWERS = ("book", "check", "elsewhere", "decline")


@dataclass(frozen=True)
class Draft:
    """One notice as rows: `notices`, `notice_pairs`, `outbox`."""

    wearer_pk: int
    notice: dict[str, Any]
    pairs: list[dict[str, Any]]
    outbox: dict[str, Any]


class Writer:
    """Writes drafts of one run: one shop, one wording, one instant."""

    def __init__(
        self,
        ctx: AppContext,
        rules: NoticeRules,
        templates: Mapping[str, NoticeTemplate],
        known: PairFacts,
        now: datetime,
    ) -> None:
        self._rules = rules
        self._templates = templates
        self._known = known
        self._now = now
        self._secret = secret_of(ctx)
        self._base = link_base(ctx)
        self._domain = mail_domain(ctx)
        self._tenant = ctx.database.tenant_pk

    def draft(
        self, customer: Mapping[str, Any], pairs: Sequence[Mapping[str, Any]], not_before: datetime
    ) -> Draft:
        """Write one notice about some pairs. Raises `TemplateRefused`.

        `customer` is a row of `DecisionSnapshot.customers`, `pairs` are rows of decisions joined
        with pairs.
        """
        notice_id = uuid4().hex
        today: date = customer["today"]
        second = all(pair["sequence"] == 2 for pair in pairs)
        channel = str(pairs[0]["channel"])
        spoken = customer["language"]
        language = language_of(spoken if isinstance(spoken, str) else None, self._rules.language)
        told = [self._told(notice_id, i, pair, today, language) for i, pair in enumerate(pairs)]
        facts = {"second": second, "by_letter": channel in ON_PAPER, "pairs": told}
        facts["guards"] = any(pair["guard"] for pair in told)
        facts |= {
            "price": price_words(self._known.price_minor, self._known.currency, language),
            "wait": wait_words(self._known.wait_days(today), language),
        }
        rendered, unsubscribe = self._rendered(customer, notice_id, facts, language)
        if CHANNELS[channel].short:
            text = short_text(self._rules.shop_name, told, unsubscribe, language)
            rendered = Rendered(rendered.subject, text, "")
        return Draft(
            int(customer["wearer_pk"]),
            {
                "notice_id": notice_id,
                "wearer_pk": int(customer["wearer_pk"]),
                "decided_at": self._now,
                "decided_on": today,
                "sequence": 2 if second else 1,
            },
            [
                {
                    "pair_pk": int(pair["pair_pk"]),
                    "place": i,
                    "foot": FOOT,
                    "sole_id": pair["sole_id"],
                    "window": int(pair["window"]),
                    "sequence": int(pair["sequence"]),
                    "why": pair["why"],
                    "told_day": pair["day"].date(),
                }
                for i, pair in enumerate(pairs)
            ],
            {
                "channel": channel,
                "message_id": f"<{notice_id}.{channel}@{self._domain}>",
                "payload": {
                    "subject": rendered.subject,
                    "text": rendered.text,
                    "html": rendered.html,
                    "unsubscribe": unsubscribe,
                    "language": language.code,
                    "pairs": told,
                },
                "made_at": self._now,
                "state": "pending",
                "attempts": 0,
                "next_try_at": not_before,
            },
        )

    def _told(
        self,
        notice_id: str,
        place: int,
        pair: Mapping[str, Any],
        today: date,
        language: Language,
    ) -> dict[str, Any]:
        label = pair["label"]
        hand_over = [d for d in (pair["send_by"], pair["ask_on"]) if pd.notna(d)]
        first_foot = pair["first_foot"]
        interval = (_day(pair["due_p10"]), _day(pair["due_p90"]), today, language)
        known, pair_pk = self._known, int(pair["pair_pk"])
        links = {
            f"{purpose}_link": f"{self._base}/answers/"
            + self._token(purpose, notice_id, place, self._rules.link_days)
            for purpose in _ANSWERS
        }
        return {
            "pair_id": pair["pair_id"],
            "label": " ".join(label.split()) if isinstance(label, str) else pair["pair_id"],
            "guard": bool(pair.get("guard")),
            "top_piece": _top_piece(pair, today, language),
            "when": due_window(*interval),
            "sure": how_sure(*interval),
            "bring_by": bring_by(_day(min(hand_over)) if hand_over else None, today, language),
            "felt": felt_words(known.looks.get(pair_pk), today, language),
            "picture": f"cid:pair-{place}.{notice_id}@{self._domain}",
            "photo_id": known.photographs.get(pair_pk, ""),
            "stop_wearing": pair["band"] == "stop wearing",
            "first_foot": first_foot if isinstance(first_foot, str) else "",
            **links,
        }

    def _token(self, purpose: str, notice_id: str, place: int, days: int) -> str:
        ends = self._now + timedelta(days=days)
        return sign_link(Link(purpose, self._tenant, notice_id, place, ends), self._secret)

    def _rendered(
        self,
        customer: Mapping[str, Any],
        notice_id: str,
        more: Mapping[str, Any],
        language: Language,
    ) -> tuple[Rendered, str]:
        name = customer["name"]
        token = self._token("unsubscribe", notice_id, 0, UNSUBSCRIBE_DAYS)
        unsubscribe = f"{self._base}/unsubscribe/{token}"
        nameless = nobody(language)
        facts = {
            "shop": {"name": self._rules.shop_name, "contact": self._rules.shop_contact},
            "customer": {"name": name if isinstance(name, str) and name.strip() else nameless},
            "language": language.code,
            "unsubscribe_link": unsubscribe,
            "thumb_check": [language.gettext(step) for step in THUMB_CHECK],
            "cautions": [language.gettext(caution) for caution in CAUTIONS],
        }
        return render_notice(self._templates[language.code], {**facts, **more}), unsubscribe


def _top_piece(pair: Mapping[str, Any], today: date, language: Language) -> str:
    """Say when the top piece is due, where that is before the sole or the guard; else nothing."""
    heel, ball = pair.get("heel_p50"), pair["due_p50"]
    if pd.isna(heel) or (pd.notna(ball) and heel >= ball):
        return ""
    return due_window(_day(pair["heel_p10"]), _day(pair["heel_p90"]), today, language)


def _day(value: Any) -> date | None:
    return None if pd.isna(value) else pd.Timestamp(value).date()
