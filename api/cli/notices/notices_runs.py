"""Notices commands at work: how are notices handled from a terminal?"""

from __future__ import annotations

import json
import random
from pathlib import Path
from uuid import uuid4

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from solespan.api.cli.messages import read_message
from solespan.api.cli.opening import serving
from solespan.api.errors import Refused
from solespan.api.schemas.notices.notices import (
    BounceGiven,
    ConsentGiven,
    ConsentWithdrawn,
    NoticeRules,
)
from solespan.api.services.notices import choices, consents
from solespan.api.services.notices.deciding import DecisionSnapshot, preview, run, sample
from solespan.api.services.notices.delivery_config import problems_of
from solespan.api.services.notices.reading import decision_rows, quiet_words, reason_counts, retry
from solespan.api.services.notices.sending import Sender
from solespan.api.services.notices.template_failure import stuck_words
from solespan.api.storage.notices.consents import lift_stop
from solespan.api.storage.notices.notices import list_notices
from solespan.api.storage.tables.notices import STATES
from solespan.api.wiring import Services

__all__ = [
    "run_bounced",
    "run_consent",
    "run_list",
    "run_preview",
    "run_read_bounces",
    "run_retry",
    "run_rules",
    "run_send",
]

MOST_SHOWN = 500


def run_preview(*, everyone: bool, words: bool) -> None:
    """Show decisions, and perhaps the words of each notice."""
    with serving() as services:
        seen = preview(services)
        problems = problems_of(services, seen.rules)
        with services.database.reading() as session:
            stuck = stuck_words(session)
        who = sorted(_written_to(seen)) if words and not problems else []
        samples = [sample(services, seen, wearer_id) for wearer_id in who]
    names = dict(zip(seen.customers["wearer_id"], seen.customers["name"], strict=True))
    zones = dict(zip(seen.customers["wearer_id"], seen.customers["time_zone"], strict=True))
    table = Table("customer", "name", "pair", "verdict", "why", "by")
    rows, total = decision_rows(seen, limit=MOST_SHOWN)
    shown = [row for row in rows if everyone or row["verdict"] != "no"]
    for row in shown:
        customer = row["wearer_id"]
        named = [Text(str(n or "")) for n in (customer, names[customer], row["pair_id"])]
        by = ", ".join(filter(None, [row["channel"], quiet_words(seen, zones[customer])]))
        table.add_row(*named, row["verdict"], row["reason"], by if row["channel"] else "")
    console = Console()
    if shown:
        console.print(table)
    if everyone and total > len(rows):
        console.print(f"... and {total - len(rows)} more pairs: GET /v1/notices/preview")
    counts = reason_counts(seen)
    console.print(", ".join(f"{why}: {n}" for why, n in counts.items()) or "There is no pair yet.")
    for problem in filter(None, [*problems, stuck]):
        console.print(f"! {problem}", markup=False)
    for each in filter(None, samples):
        headed = f"\n--- {each['wearer_id']}, by {each['channel']}: {each['subject']}\n"
        console.print(Text(f"{headed}\n{each['text']}"), soft_wrap=True)


def run_send(*, yes: bool) -> None:
    """Decide, write down, and send what may go now."""
    with serving() as services:
        customers = _due_customers(services)
        if customers and not yes:
            typer.confirm(f"Write to {customers} customers?", abort=True)
        report = run(services)
        typer.echo(f"{report.notices} notices about {report.pairs} pairs are in the outbox.")
        sent = Sender(services, worker=uuid4().hex, chance=random.SystemRandom().random).drain()
        typer.echo(
            f"Sent {sent.sent}, to be tried again {sent.later}, not delivered {sent.failed}, "
            f"no longer wanted {sent.cancelled}."
        )
        typer.echo("What waits for quiet hours to end goes out by: solespan work")


def _due_customers(services: Services) -> int:
    return len(_written_to(preview(services)))


def _written_to(seen: DecisionSnapshot) -> set[str]:
    """Return the customers of the pairs that are written about."""
    return set(seen.decisions["wearer_id"][seen.decisions["verdict"] != "no"])


def run_list(state: str | None) -> None:
    """List notices."""
    if state is not None and state not in STATES:
        raise Refused(
            f"{state!r} is no state.",
            where="--state",
            accepted=", ".join(STATES),
            remedy="Choose one of these.",
        )
    with serving() as services, services.database.reading() as session:
        rows = list_notices(session, state=state, limit=MOST_SHOWN)
    table = Table("notice", "customer", "decided (UTC)", "by", "state", "tries", "why")
    table.columns[0].overflow = "fold"  # an id that is cut off cannot be typed again
    for row in rows:
        decided = f"{row['decided_at']:%Y-%m-%d %H:%M}"
        last = (row["channel"], row["state"], str(row["attempts"]), Text(row["problem"] or ""))
        table.add_row(row["notice_id"], Text(row["wearer_id"]), decided, *last)
    Console().print(table if rows else "No notice yet.")


def run_retry(notice_id: str) -> None:
    """Try one notice again."""
    with serving() as services, services.database.writing() as session:
        retry(services, session, notice_id)
    typer.echo("It will be tried again.")


def run_rules(path: Path | None) -> None:
    """Show or change the rules."""
    with serving() as services:
        if path is None:
            with services.database.reading() as session:
                rules, _ = choices.read_rules(session)
            typer.echo(json.dumps(rules.model_dump(mode="json"), indent=2))
            return
        try:
            content = path.read_text("utf-8")
        except (OSError, UnicodeDecodeError) as cause:
            raise Refused(
                f"{path} cannot be read as text.", where="FILE", remedy="Name a JSON file."
            ) from cause
        rules = read_message(lambda: NoticeRules.model_validate_json(content))
        with services.database.writing() as session:
            choices.change_rules(session, rules, None)
        typer.echo("The rules are kept.")


def run_consent(
    customer: str,
    channel: str,
    *,
    how: str,
    by: str,
    on: str | None,
    postal_address: str | None,
    withdraw: bool,
) -> None:
    """Write down a consent or its end."""
    with serving() as services:
        if withdraw:
            ended = read_message(
                lambda: ConsentWithdrawn.model_validate(
                    {"wearer_id": customer, "channel": channel, "how": how}
                )
            )
            with services.database.writing() as session:
                held = consents.withdraw(session, ended, services.clock)
            typer.echo("The consent is withdrawn." if held else "There was no consent.")
            return
        given = read_message(
            lambda: ConsentGiven.model_validate(
                {
                    "wearer_id": customer,
                    "channel": channel,
                    "how": how,
                    "by": by,
                    "on": on,
                    "postal_address": postal_address,
                }
            )
        )
        with services.database.writing() as session:
            new = consents.give(session, given, services.clock)
        typer.echo(_GIVEN[new, postal_address is not None])


_GIVEN = {
    (True, False): "The consent is written down.",
    (True, True): "The consent is written down.",
    (False, False): "There is a consent already.",
    (False, True): "There is a consent already; the postal address is replaced.",
}


def run_bounced(address: str, reason: str, *, lift: bool) -> None:
    """Stop an address, or lift the stop."""
    given = read_message(lambda: BounceGiven(address=address, reason=reason or "it bounced"))
    with serving() as services:
        with services.database.writing() as session:
            if lift:
                lifted = lift_stop(session, given.address)
                typer.echo("It may get notices again." if lifted else "It was not stopped.")
                return
            customers = consents.report_bounce(session, given, services.clock)
        typer.echo(f"Nothing is sent there any more; {customers} customers have this address.")


def run_read_bounces(mails: list[bytes]) -> None:
    """Stop addresses by what came back."""
    with serving() as services, services.database.writing() as session:
        stopped = [consents.read_bounce(session, raw, services.clock) for raw in mails]
    typer.echo(
        f"{stopped.count(True)} of {len(mails)} said that an address we wrote to takes no mail; "
        "nothing is sent there any more."
    )
