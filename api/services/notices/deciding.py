"""Deciding service: who would get a notice now, and how is what was decided written down?

`preview` reads and decides and changes nothing: preview, dry run and real run begin with it. `run`
then fills in every notice, and only when all can be, writes each with its pairs and its outbox row
in one transaction. Two runs at once do not tell a customer twice: the second leaves those alone
whom the first has written to.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import groupby
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.channels import CHANNELS
from solespan.api.errors import Refused
from solespan.api.notices.decide import CUSTOMER_COLUMNS, PAIR_COLUMNS, decide
from solespan.api.notices.quiet import first_allowed, zone_of
from solespan.api.schemas.notices.notices import NoticeRules, NoticeTemplate
from solespan.api.services.context import AppContext
from solespan.api.services.notices.choices import read_rules, read_templates
from solespan.api.services.notices.delivery_config import channels_of, problems_of
from solespan.api.services.notices.drafts import Draft, Writer
from solespan.api.services.notices.pair_facts import load_pair_facts
from solespan.api.storage.bench.asking_facts import load_facts, load_lives
from solespan.api.storage.bench.workload import newest_plan
from solespan.api.storage.notices import notices as stored
from solespan.api.storage.notices.advice import load_evidence
from solespan.api.storage.notices.consents import address_hash, load_consents, load_stopped
from solespan.api.storage.notices.notices import AlreadyTold
from solespan.api.storage.scope import name_changed
from solespan.forecast.workload.asking_rules import asking_rules

__all__ = ["DecisionSnapshot", "RunReport", "preview", "run", "sample"]

CHUNK_NOTICES = 200
PLAN_DAYS = 60  # a bench plan older than this asks nobody


@dataclass(frozen=True)
class DecisionSnapshot:
    """Decisions about every pair, and what they were made from.

    pairs : as `stored.load_due_pairs` with `decide.PAIR_COLUMNS`. customers : `wearer_id`,
    `wearer_pk`, `name`, `email`, `time_zone`, `language` and `decide.CUSTOMER_COLUMNS`. templates :
    the wording by language. decisions : as
    `decide`, row by row with `pairs`.
    """

    now: datetime
    rules: NoticeRules
    templates: Mapping[str, NoticeTemplate]
    pairs: pd.DataFrame
    customers: pd.DataFrame
    decisions: pd.DataFrame
    last: dict[int, tuple[int, date | None]]


@dataclass(frozen=True)
class RunReport:
    """What a run wrote."""

    decided_at: datetime
    notices: int = 0
    pairs: int = 0
    overtaken: int = 0
    problems: tuple[str, ...] = ()


def preview(ctx: AppContext) -> DecisionSnapshot:
    """Decide about every pair, as things are now."""
    now = ctx.clock.now()
    with ctx.database.reading() as session:
        rules, _ = read_rules(session)
        templates = read_templates(session)
        last = stored.last_notices(session)
        customers = _customers(ctx, session, rules, last, now)
        pairs = _pairs(session, rules, now)
    decisions = decide(pairs[list(PAIR_COLUMNS)], customers[list(CUSTOMER_COLUMNS)], rules)
    return DecisionSnapshot(now, rules, templates, pairs, customers, decisions, last)


def run(ctx: AppContext, only: set[str] | None = None) -> RunReport:
    """Decide and write the notices down, for all customers or `only` some (by wearer_id).

    Raises `Refused` while something is missing that every notice needs. Raises `TemplateRefused`
    when the wording cannot be filled in for a customer. Nothing is written then.
    """
    seen = preview(ctx)
    problems = problems_of(ctx, seen.rules)
    if problems:
        raise Refused(
            f"Nothing was sent: {problems[0]}",
            where="the settings and rules of notices",
            remedy=" ".join(problems[1:]) or "Correct it and send again.",
        )
    drafts = _drafts(ctx, seen, only)
    written = pairs = overtaken = 0
    for start in range(0, len(drafts), CHUNK_NOTICES):
        chunk = drafts[start : start + CHUNK_NOTICES]
        with ctx.database.writing() as session:
            now_last = stored.last_notices(session, [d.wearer_pk for d in chunk], lock=True)
            new = 0
            for draft in chunk:
                same = now_last.get(draft.wearer_pk) == seen.last.get(draft.wearer_pk)
                if same and _insert(session, draft):
                    new += 1
                    pairs += len(draft.pairs)
                else:
                    overtaken += 1
            name_changed(notices=new)
        written += new
    return RunReport(seen.now, written, pairs, overtaken)


def sample(ctx: AppContext, seen: DecisionSnapshot, wearer_id: str = "") -> dict[str, Any] | None:
    """Return the words that a run would write to a customer, or to the first of all.

    As `outbox.payload`, with `wearer_id`, `name` and `channel`. None = it would write to nobody, or
    not to this customer. Raises `TemplateRefused`.
    """
    written = seen.decisions["wearer_id"][seen.decisions["verdict"] != "no"]
    if written.empty or (wearer_id and wearer_id not in set(written)):
        return None
    chosen = wearer_id or str(written.iloc[0])
    draft = _drafts(ctx, seen, {chosen})[0]
    row = seen.customers.set_index("wearer_id").loc[chosen]
    name = row["name"] if isinstance(row["name"], str) else chosen
    entry = CHANNELS[draft.outbox["channel"]]
    who: dict[str, Any] = {"wearer_id": chosen, "name": name, "channel": entry.name}
    who |= {"word": entry.word, "parts": entry.parts}
    return {**draft.outbox["payload"], **who}


def _insert(session: Session, draft: Draft) -> bool:
    try:
        with session.begin_nested():
            stored.insert_notice(session, draft.notice, draft.pairs, draft.outbox)
    except AlreadyTold:
        return False
    return True


def _drafts(ctx: AppContext, seen: DecisionSnapshot, only: set[str] | None) -> list[Draft]:
    decisions = seen.decisions
    chosen = decisions["verdict"].isin(["notice", "along"])
    if only is not None:
        chosen &= decisions["wearer_id"].isin(only)
    told = decisions[chosen].join(seen.pairs.drop(columns=["pair_id", "wearer_id"])[chosen])
    told = told.sort_values(["wearer_id", "day", "pair_id"])
    mine = seen.customers[seen.customers["wearer_id"].isin(told["wearer_id"])]
    customers = {row["wearer_id"]: row for row in _records(mine)}
    quiet = [time.fromisoformat(t) for t in (seen.rules.quiet_from, seen.rules.quiet_to)]
    allowed: dict[str, datetime] = {}
    with ctx.database.reading() as session:
        known = load_pair_facts(session, told["pair_pk"].tolist())
    writer = Writer(ctx, seen.rules, seen.templates, known, seen.now)
    drafts = []
    for wearer_id, rows in groupby(_records(told), lambda row: row["wearer_id"]):
        zone = customers[wearer_id]["time_zone"]
        if zone not in allowed:
            allowed[zone] = first_allowed(seen.now, zone_of(zone), *quiet)
        drafts.append(writer.draft(customers[wearer_id], list(rows), allowed[zone]))
    return drafts


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(k): v for k, v in row.items()} for row in frame.to_dict("records")]


def _customers(
    ctx: AppContext,
    session: Session,
    rules: NoticeRules,
    last: dict[int, tuple[int, date | None]],
    now: datetime,
) -> pd.DataFrame:
    frame = stored.load_customers(session)
    consents, stopped = load_consents(session), load_stopped(session)
    needs = {name: made.needs_address for name, made in channels_of(ctx, rules).items()}
    days: dict[str, date] = {}
    reached = []
    columns = (frame[name].tolist() for name in ("wearer_pk", "email", "time_zone"))
    for wearer_pk, written, zone in zip(*columns, strict=True):
        if zone not in days:
            days[zone] = now.astimezone(zone_of(zone)).date()
        agreed = consents.get(wearer_pk, {})
        email = written if isinstance(written, str) and written.strip() else None
        reached.append((days[zone], *_way(rules, agreed, needs, email, stopped)))
    told = pd.DataFrame(reached, columns=["today", "channel", "barred"], dtype=object)
    frame[["today", "channel", "barred"]] = told
    heard = {pk: on for pk, (_, on) in last.items()}
    frame["heard_on"] = frame["wearer_pk"].map(heard)
    return frame


def _way(
    rules: NoticeRules,
    agreed: Mapping[str, str | None],
    needs: dict[str, bool],
    email: str | None,
    stopped: Mapping[str, str],
) -> tuple[str | None, str | None]:
    """Give the first channel of the rules that may be used, or why there is none."""
    barred = "no consent"
    for name in rules.channels:
        if name not in agreed:
            continue
        if not needs[name]:
            return name, None
        kind = CHANNELS[name].address
        address = email if kind.kept == "wearer" else agreed[name]
        if address is None:
            barred = "no address"
        elif not kind.usable(address):
            barred = "not an address"
        elif stopped and address_hash(address) in stopped:
            barred = "stopped"
        else:
            return name, None
    return None, barred


def _pairs(session: Session, rules: NoticeRules, now: datetime) -> pd.DataFrame:
    frame = stored.load_due_pairs(session, rules.chance_days)
    busy = stored.load_busy(session)
    frame["busy"] = frame["pair_id"].map(busy).astype(object) if busy else None
    frame["ask_on"] = pd.to_datetime(frame["pair_id"].map(_asked(session, now)))
    frame["chance"] = frame["chance"].astype(float)
    rules_of = asking_rules(frame, load_facts(session), load_lives(session))
    frame = frame.assign(known=rules_of.known, old_on=rules_of.old_on, ten_on=rules_of.ten_on)
    frame = frame.merge(stored.load_told(session), on="pair_id", how="left")
    return frame.merge(load_evidence(session), on="pair_id", how="left")


def _asked(session: Session, now: datetime) -> dict[str, str]:
    """Give the day on which a fresh bench plan asks each owner to hand over."""
    plan = newest_plan(session)
    if plan is None or (now.date() - plan["as_of"]).days > PLAN_DAYS:
        return {}
    return {row["pair_id"]: row["ask_on"] for row in plan["payload"]["pairs"] if row["ask_on"]}
