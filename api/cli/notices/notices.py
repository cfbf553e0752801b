"""Commands of notices: preview, send, list, rules, consents, stopped addresses."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from uuid import uuid4

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from solespan.api.errors import Refused

if TYPE_CHECKING:
    from solespan.api.services.notices.deciding import DecisionSnapshot
    from solespan.api.wiring import Services

__all__ = ["register"]

Customer = Annotated[str, typer.Argument(help="The customer's id.")]
Channel = Annotated[str, typer.Argument(help="A channel of the rules, such as mail.")]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    notices = typer.Typer(
        no_args_is_help=True, help="Decide about notices to customers, and send them."
    )
    app.add_typer(notices, name="notices")
    notices.command("preview")(preview)
    notices.command("gone")(gone)
    notices.command("send")(send)
    notices.command("list")(list_them)
    notices.command("retry")(retry)
    notices.command("rules")(rules)
    notices.command("consent")(consent)
    notices.command("bounced")(bounced)
    notices.command("read-bounces")(read_bounces)


MOST_SHOWN = 500
_GIVEN = {
    (True, False): "The consent is written down.",
    (True, True): "The consent is written down.",
    (False, False): "There is a consent already.",
    (False, True): "There is a consent already; the address is replaced.",
}


def preview(
    everyone: Annotated[
        bool, typer.Option("--all", help="Also the pairs not written about, and why.")
    ] = False,
    words: Annotated[
        bool, typer.Option("--words", help="Also what each would be written.")
    ] = False,
) -> None:
    """Show who would get a notice now, and why; change nothing."""
    _preview(everyone=everyone, words=words)


def gone(
    in_use: Annotated[
        list[str] | None, typer.Option("--in-use", help="A pair that is still in use.")
    ] = None,
    retire: Annotated[
        list[str] | None, typer.Option("--retire", help="A pair that is no longer in use.")
    ] = None,
) -> None:
    """List pairs that are probably no longer in use, or keep what is true of some."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.notices.deciding import preview as decisions
    from solespan.api.services.notices.reading import gone_pairs
    from solespan.api.services.rack.sole_forms import give_up, say_in_use
    from solespan.dashboards import wording

    with serving() as services:
        if in_use or retire:
            with services.database.writing() as session:
                for pair_id in in_use or []:
                    say_in_use(services, session, pair_id, {})
                for pair_id in retire or []:
                    give_up(services, session, pair_id, {})
            typer.echo(f"{len(in_use or [])} still in use, {len(retire or [])} retired.")
            return
        rows = gone_pairs(decisions(services), MOST_SHOWN)
    table = Table("pair", "name", "customer", "chance in use")
    for row in rows:
        named = (Text(str(row[name])) for name in ("pair_id", "pair", "customer"))
        table.add_row(*named, wording.chance(row["chance"]))
    Console().print(table if rows else "No pair is probably gone.")


def send(
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="As preview --words.")] = False,
) -> None:
    """Write the notices that are due, and send all that may go now."""
    if dry_run:
        _preview(everyone=False, words=True)
    else:
        _send(yes=yes)


def list_them(
    state: Annotated[
        str | None, typer.Option("--state", help="pending, sent, failed or cancelled.")
    ] = None,
) -> None:
    """List notices, newest first, and where each is."""
    from solespan.api.cli.opening import serving
    from solespan.api.storage.notices.notices import list_notices
    from solespan.api.storage.tables.notices import STATES

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


def retry(notice: Annotated[str, typer.Argument(help="The notice's id.")]) -> None:
    """Try a notice again that was not delivered."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.notices.reading import retry

    with serving() as services, services.database.writing() as session:
        retry(services, session, notice)
    typer.echo("It will be tried again.")


def rules(
    file: Annotated[
        Path | None, typer.Argument(help="JSON file to take them from; left out = show them.")
    ] = None,
) -> None:
    """Show the rules of notices, or change them."""
    from solespan.api.cli.files import read_json
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.notices.notices import NoticeRules
    from solespan.api.services.notices import choices

    with serving() as services:
        if file is None:
            with services.database.reading() as session:
                rules, _ = choices.read_rules(session)
            typer.echo(json.dumps(rules.model_dump(mode="json"), indent=2))
            return
        content = read_json(file)
        rules = read_message(lambda: NoticeRules.model_validate_json(content))
        with services.database.writing() as session:
            choices.change_rules(session, rules, None)
        typer.echo("The rules are kept.")


def consent(
    customer: Customer,
    channel: Channel,
    how: Annotated[str, typer.Option("--how", help="How it was given or withdrawn.")],
    by: Annotated[str, typer.Option("--by", help="Who took it.")] = "",
    on: Annotated[
        str | None, typer.Option("--on", help="The day, YYYY-MM-DD; left out = today.")
    ] = None,
    address: Annotated[
        str | None,
        typer.Option("--address", help="Where this way writes to: postal address, number."),
    ] = None,
    withdraw: Annotated[bool, typer.Option("--withdraw", help="It no longer holds.")] = False,
) -> None:
    """Write down that a customer agreed to notices, or withdrew."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.notices.notices import ConsentGiven, ConsentWithdrawn
    from solespan.api.services.notices import consents

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
                    "address": address,
                }
            )
        )
        with services.database.writing() as session:
            new = consents.give(session, given, services.clock)
        typer.echo(_GIVEN[new, address is not None])


def bounced(
    address: Annotated[str, typer.Argument(help="The address.")],
    reason: Annotated[str, typer.Option("--reason", help="What the server said.")] = "",
    lift: Annotated[bool, typer.Option("--lift", help="It works again.")] = False,
) -> None:
    """Stop an address that takes no mail, or allow it again."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.notices.notices import BounceGiven
    from solespan.api.services.notices import consents
    from solespan.api.storage.notices.consents import lift_stop

    given = read_message(lambda: BounceGiven(address=address, reason=reason or "it bounced"))
    with serving() as services:
        with services.database.writing() as session:
            if lift:
                lifted = lift_stop(session, given.address)
                typer.echo("It may get notices again." if lifted else "It was not stopped.")
                return
            customers = consents.report_bounce(session, given, services.clock)
        typer.echo(f"Nothing is sent there any more; {customers} customers have this address.")


def read_bounces(
    files: Annotated[
        list[typer.FileBinaryRead],
        typer.Argument(help="Mails that came back; - = from a pipe."),
    ],
) -> None:
    """Read returned mails, and stop the addresses that they report."""
    _read_bounces([file.read() for file in files])


def _read_bounces(mails: list[bytes]) -> None:
    """Stop addresses by what came back."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.notices import consents

    with serving() as services, services.database.writing() as session:
        stopped = [consents.read_bounce(session, raw, services.clock) for raw in mails]
    typer.echo(
        f"{stopped.count(True)} of {len(mails)} said that an address we wrote to takes no mail; "
        "nothing is sent there any more."
    )


def _send(*, yes: bool) -> None:
    """Decide, write down, and send what may go now."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.notices.deciding import run
    from solespan.api.services.notices.sending import Sender

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


def _preview(*, everyone: bool, words: bool) -> None:
    """Show decisions, and perhaps the words of each notice."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.notices.deciding import preview, sample
    from solespan.api.services.notices.delivery_config import problems_of
    from solespan.api.services.notices.reading import decision_rows, quiet_words, reason_counts
    from solespan.api.services.notices.template_failure import stuck_words

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


def _due_customers(services: Services) -> int:
    from solespan.api.services.notices.deciding import preview

    return len(_written_to(preview(services)))


def _written_to(seen: DecisionSnapshot) -> set[str]:
    """Return the customers of the pairs that are written about."""
    return set(seen.decisions["wearer_id"][seen.decisions["verdict"] != "no"])
