"""How are notices handled from a terminal?"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import typer
from pydantic import BaseModel, ValidationError
from rich.console import Console
from rich.table import Table
from rich.text import Text

from api.errors import Refused
from api.schemas.notices import BounceGiven, ConsentGiven, ConsentWithdrawn, NoticeRules
from api.services.notices import choices, consents
from api.services.notices.deciding import look, run
from api.services.notices.reading import decision_rows, reason_counts, retry
from api.services.notices.ready import problems_of
from api.services.notices.worker import NoticeWorker
from api.settings import load_settings
from api.storage.notices import list_notices
from api.storage.notices_consents import lift_stop
from api.storage.notices_tables import STATES
from api.storage.schema import prepare
from api.wiring import Services, build_services

__all__ = [
    "run_bounced",
    "run_consent",
    "run_list",
    "run_preview",
    "run_retry",
    "run_rules",
    "run_send",
]

MOST_SHOWN = 500
M = TypeVar("M", bound=BaseModel)


def _opened() -> Services:
    services = build_services(load_settings())
    prepare(services.database)
    return services


def _read(make: Callable[[], M]) -> M:
    try:
        return make()
    except ValidationError as cause:
        first = cause.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the message"
        raise Refused(
            f"{where}: {first['msg'].removeprefix('Value error, ')}.",
            where=where,
            remedy="Mend it and try again; nothing was changed.",
        ) from None


def run_preview(*, everyone: bool) -> None:
    """Show decisions."""
    services = _opened()
    try:
        seen = look(services)
        problems = problems_of(services, seen.rules)
    finally:
        services.database.close()
    table = Table("customer", "pair", "verdict", "why", "by")
    rows, total = decision_rows(seen, limit=MOST_SHOWN)
    shown = [row for row in rows if everyone or row["verdict"] != "no"]
    for row in shown:
        named = [Text(str(row[name])) for name in ("wearer_id", "pair_id")]
        table.add_row(*named, row["verdict"], row["reason"], row["channel"] or "")
    console = Console()
    if shown:
        console.print(table)
    if everyone and total > len(rows):
        console.print(f"... and {total - len(rows)} more pairs: GET /v1/notices/preview")
    counts = reason_counts(seen)
    console.print(", ".join(f"{why}: {n}" for why, n in counts.items()) or "There is no pair yet.")
    for problem in problems:
        console.print(f"! {problem}", markup=False)


def run_send(*, yes: bool) -> None:
    """Decide, write down, and send what may go now."""
    services = _opened()
    try:
        customers = _due_customers(services)
        if customers and not yes:
            typer.confirm(f"Write to {customers} customers?", abort=True)
        report = run(services)
        typer.echo(f"{report.notices} notices about {report.pairs} pairs are in the outbox.")
        sent = NoticeWorker(services).once()
        typer.echo(
            f"Sent {sent.sent}, to be tried again {sent.later}, not delivered {sent.failed}, "
            f"no longer wanted {sent.cancelled}."
        )
        typer.echo("What waits for quiet hours to end goes out by: solespan work")
    finally:
        services.database.close()


def _due_customers(services: Services) -> int:
    decisions = look(services).decisions
    return int(decisions["wearer_id"][decisions["verdict"] != "no"].nunique())


def run_list(state: str | None) -> None:
    """List notices."""
    if state is not None and state not in STATES:
        raise Refused(
            f"{state!r} is no state.",
            where="--state",
            accepted=", ".join(STATES),
            remedy="Choose one of these.",
        )
    services = _opened()
    try:
        with services.database.reading() as session:
            rows = list_notices(session, state=state, limit=MOST_SHOWN)
    finally:
        services.database.close()
    table = Table("notice", "customer", "decided (UTC)", "by", "state", "tries", "why")
    table.columns[0].overflow = "fold"  # an id that is cut off cannot be typed again
    for row in rows:
        decided = f"{row['decided_at']:%Y-%m-%d %H:%M}"
        last = (row["channel"], row["state"], str(row["attempts"]), Text(row["problem"] or ""))
        table.add_row(row["notice_id"], Text(row["wearer_id"]), decided, *last)
    Console().print(table if rows else "No notice yet.")


def run_retry(notice_id: str) -> None:
    """Try one notice again."""
    services = _opened()
    try:
        with services.database.writing() as session:
            retry(services, session, notice_id)
    finally:
        services.database.close()
    typer.echo("It will be tried again.")


def run_rules(path: Path | None) -> None:
    """Show or change the rules."""
    services = _opened()
    try:
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
        rules = _read(lambda: NoticeRules.model_validate_json(content))
        with services.database.writing() as session:
            choices.change_rules(session, rules, None)
        typer.echo("The rules are kept.")
    finally:
        services.database.close()


def run_consent(customer: str, channel: str, *, how: str, by: str, withdraw: bool) -> None:
    """Write down a consent or its end."""
    services = _opened()
    try:
        if withdraw:
            ended = _read(
                lambda: ConsentWithdrawn.model_validate(
                    {"wearer_id": customer, "channel": channel, "how": how}
                )
            )
            with services.database.writing() as session:
                held = consents.withdraw(session, ended, services.clock)
            typer.echo("The consent is withdrawn." if held else "There was no consent.")
            return
        given = _read(
            lambda: ConsentGiven.model_validate(
                {"wearer_id": customer, "channel": channel, "how": how, "by": by}
            )
        )
        with services.database.writing() as session:
            new = consents.give(session, given, services.clock)
        typer.echo("The consent is written down." if new else "There is a consent already.")
    finally:
        services.database.close()


def run_bounced(address: str, reason: str, *, lift: bool) -> None:
    """Stop an address, or lift the stop."""
    given = _read(lambda: BounceGiven(address=address, reason=reason or "it bounced"))
    services = _opened()
    try:
        with services.database.writing() as session:
            if lift:
                lifted = lift_stop(session, given.address)
                typer.echo("It may be written to again." if lifted else "It was not stopped.")
                return
            customers = consents.report_bounce(session, given, services.clock)
        typer.echo(f"Nothing is sent there any more; {customers} customers have this address.")
    finally:
        services.database.close()
