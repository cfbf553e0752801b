"""Template failure service.

What keeps the worker from writing notices by itself, for the next reader?

A wording that passed every sample can still fail for one customer. Then nothing is written, and
nobody stands by. So the place in the wording is kept (it names no customer) until a decision goes
through or the wording is another.
"""

from __future__ import annotations

from sqlalchemy.orm import Session

from solespan.api.notices.template import TemplateRefused
from solespan.api.services.context import AppContext
from solespan.api.services.notices.choices import read_rules, read_template
from solespan.api.storage.shop_settings import find_setting, put_setting

__all__ = ["keep_stuck", "stuck_words"]

STUCK = "notices_stuck"


def keep_stuck(ctx: AppContext, failure: TemplateRefused | None) -> None:
    """Keep where the wording failed the worker, or that it does no longer."""
    with ctx.database.writing() as session:
        _, wording = read_template(session)
        found, version = find_setting(session, STUCK) or ({}, 0)
        now = {"where": failure.where, "wording": wording} if failure else {}
        if now != found:
            put_setting(session, STUCK, now, version)


def stuck_words(session: Session) -> str | None:
    """Say what keeps notices from being written by themselves; None = nothing, or nobody asked."""
    found, _ = find_setting(session, STUCK) or ({}, 0)
    if not found or read_template(session)[1] != found["wording"]:
        return None
    if not read_rules(session)[0].automatic:
        return None
    return (
        f"Nothing goes out by itself: the wording ({found['where']}) cannot be filled in for one "
        "of the customers below. Look at what each would get, and correct the wording. Notices "
        "that are due are then written within the hour."
    )
