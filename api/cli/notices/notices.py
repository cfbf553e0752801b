"""Commands of notices: preview, send, list, consents, stopped addresses."""

from __future__ import annotations

import random
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any
from uuid import uuid4

import typer
from rich.console import RenderableType

from solespan.api.cli.files import PIPE
from solespan.api.cli.grid import grid
from solespan.api.cli.notices.lists import notices as list_notices
from solespan.api.cli.options import read_day
from solespan.api.cli.output import Format, Out, OutputFormat, note, show

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
    notices.command("list")(list_notices)
    notices.command("retry")(retry)
    notices.command("letters")(letters)
    notices.command("consent")(consent)
    notices.command("consent-of-many")(consent_of_many)
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
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """Show who would get a notice now, and why; change nothing."""
    _preview(everyone=everyone, words=words, form=form, out=out)


def gone(
    in_use: Annotated[
        list[str] | None, typer.Option("--in-use", help="A pair that is still in use.")
    ] = None,
    retire: Annotated[
        list[str] | None, typer.Option("--retire", help="A pair that is no longer in use.")
    ] = None,
    form: Format = OutputFormat.TABLE,
    out: Out = PIPE,
) -> None:
    """List pairs that are probably no longer in use, or keep what is true of some."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.notices.notices import DecisionPage
    from solespan.api.services.notices.deciding import preview as decisions
    from solespan.api.services.notices.reading import decision_rows, gone_pairs, reason_counts
    from solespan.api.services.rack.pair_names import pair_named
    from solespan.api.services.rack.sole_forms import give_up, say_in_use
    from solespan.dashboards.wording import chance

    if in_use or retire:
        with serving("notices gone") as services, services.database.writing() as session:
            for pair in in_use or []:
                say_in_use(services, session, pair_named(session, pair), {})
            for pair in retire or []:
                give_up(services, session, pair_named(session, pair), {})
        typer.echo(f"{len(in_use or [])} still in use, {len(retire or [])} retired.")
        return
    with serving() as services:
        seen = decisions(services)
    rows = gone_pairs(seen, MOST_SHOWN)
    cells = [(row["pair_id"], row["pair"], row["customer"], chance(row["chance"])) for row in rows]
    table = grid(("pair", "name", "customer", "chance in use"), cells)
    told = decision_rows(seen, verdict="no", limit=len(seen.decisions))[0]
    items = [row for row in told if row["why"] == "gone"]
    body = {"counts": reason_counts(seen), "items": items, "total": len(items)}
    empty = "No pair is probably gone."
    show(body, DecisionPage, form=form, out=out, table=lambda: [table if rows else empty])


def send(
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="As preview --words.")] = False,
) -> None:
    """Write the notices that are due, and send all that may go now."""
    if dry_run:
        _preview(everyone=False, words=True, form=OutputFormat.TABLE, out=PIPE)
    else:
        _send(yes=yes)


def retry(notice: Annotated[str, typer.Argument(help="The notice's id.")]) -> None:
    """Try a notice again that was not delivered."""
    from solespan.api.cli.opening import serving
    from solespan.api.services.notices.reading import retry

    with serving("notices retry") as services, services.database.writing() as session:
        retry(services, session, notice)
    typer.echo("It will be tried again.")


def letters(
    printed: Annotated[
        bool, typer.Option("--printed", help="They are printed; take them off the list.")
    ] = False,
    out: Out = PIPE,
) -> None:
    """Write the letters that wait to be printed, one page each."""
    from solespan.api.cli.files import write_file
    from solespan.api.cli.opening import serving
    from solespan.api.notices.letter_words import letter_text
    from solespan.api.services.notices.choices import read_rules
    from solespan.api.services.notices.reading import letters, mark_printed

    with serving("notices letters") as services, services.database.writing() as session:
        rows = letters(session, MOST_SHOWN)
        rules, _ = read_rules(session)
        if printed:
            count = mark_printed(
                session, max((row["id"] for row in rows), default=0), services.clock.now()
            )
    if printed:
        note(f"{count} letters are off the list.")
        return
    pages = [letter_text(row, rules) for row in rows]
    if pages:
        write_file(out, "\f".join(pages))
    note(f"{len(rows)} letters wait; --printed takes them off the list.")


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
    from solespan.api.schemas.notices.consents import ConsentGiven, ConsentWithdrawn
    from solespan.api.services.notices import consents

    with serving("notices consent") as services:
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
                    "on": None if on is None else read_day(on, services.clock.today(), past=True),
                    "address": address,
                }
            )
        )
        with services.database.writing() as session:
            new = consents.give(session, given, services.clock)
        typer.echo(_GIVEN[new, address is not None])


def consent_of_many(
    channel: Channel,
    basis: Annotated[str, typer.Option("--basis", help="The legal basis, or how it begins.")],
    how: Annotated[str, typer.Option("--how", help="What shows it: the form of 2026, ...")],
    by: Annotated[str, typer.Option("--by", help="Who writes it down.")],
    customers: Annotated[
        int | None, typer.Option(help="How many they are; left out = you are asked.")
    ] = None,
) -> None:
    """Write down that all customers agreed whom a way reaches and who never answered about it."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.notices.many_consents import BASES, ManyConsents
    from solespan.api.services.notices.many_consents import count_reached, give_to_many

    whole = [one for one in BASES if basis and one.startswith(basis)]
    with serving("notices consent-of-many") as services:
        with services.database.reading() as session:
            reached = count_reached(session).get(channel, 0)
        given = read_message(
            lambda: ManyConsents.model_validate(
                {
                    "channel": channel,
                    "basis": whole[0] if len(whole) == 1 else basis,
                    "how": how,
                    "by": by,
                    "customers": reached if customers is None else customers,
                }
            )
        )
        if customers is None:
            typer.confirm(f"Write it down of {reached} customers?", abort=True)
        with services.database.writing() as session:
            count = give_to_many(session, given, services.clock)
    typer.echo(f"The consent of {count} customers is written down.")


def bounced(
    address: Annotated[str, typer.Argument(help="The address.")],
    reason: Annotated[str, typer.Option("--reason", help="What the server said.")] = "",
    lift: Annotated[bool, typer.Option("--lift", help="It works again.")] = False,
) -> None:
    """Stop an address that takes no mail, or allow it again."""
    from solespan.api.cli.messages import read_message
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.notices.consents import BounceGiven
    from solespan.api.services.notices import consents
    from solespan.api.storage.notices.consents import lift_stop

    given = read_message(lambda: BounceGiven(address=address, reason=reason or "it bounced"))
    with serving("notices bounced") as services:
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

    with serving("notices read-bounces") as services, services.database.writing() as session:
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

    with serving("notices send") as services:
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


def _preview(*, everyone: bool, words: bool, form: OutputFormat, out: Path) -> None:
    """Show decisions, and perhaps the words of each notice."""
    from solespan.api.cli.opening import serving
    from solespan.api.schemas.notices.notices import DecisionPage
    from solespan.api.services.notices.deciding import preview, sample
    from solespan.api.services.notices.delivery_config import problems_of
    from solespan.api.services.notices.reading import decision_rows, reason_counts
    from solespan.api.services.notices.template_failure import stuck_words

    with serving() as services:
        seen = preview(services)
        problems = problems_of(services, seen.rules)
        with services.database.reading() as session:
            stuck = stuck_words(session)
        who = sorted(_written_to(seen)) if words and not problems else []
        samples = [sample(services, seen, wearer_id) for wearer_id in who]
    every = form != OutputFormat.TABLE
    rows, total = decision_rows(seen, limit=len(seen.decisions) if every else MOST_SHOWN)
    shown = [row for row in rows if everyone or row["verdict"] != "no"]
    counts = reason_counts(seen)

    def tables() -> Iterator[RenderableType]:
        if shown:
            yield _decision_table(seen, shown)
        if everyone and total > len(rows):
            yield f"... and {total - len(rows)} more pairs: --format csv has them all"
        yield ", ".join(f"{why}: {n}" for why, n in counts.items()) or "There is no pair yet."
        for problem in filter(None, [*problems, stuck]):
            yield f"! {problem}"
        for each in filter(None, samples):
            yield f"\n--- {each['wearer_id']}, by {each['channel']}: {each['subject']}\n"
            yield str(each["text"])

    body = {"counts": counts, "items": shown, "total": len(shown)}
    show(body, DecisionPage, form=form, out=out, table=tables)


def _decision_table(seen: DecisionSnapshot, shown: list[dict[str, Any]]) -> RenderableType:
    from solespan.api.services.notices.reading import quiet_words

    names = dict(zip(seen.customers["wearer_id"], seen.customers["name"], strict=True))
    zones = dict(zip(seen.customers["wearer_id"], seen.customers["time_zone"], strict=True))
    cells = []
    for row in shown:
        customer = row["wearer_id"]
        by = ", ".join(filter(None, [row["channel"], quiet_words(seen, zones[customer])]))
        name = names[customer] if isinstance(names[customer], str) else ""
        last = (row["verdict"], row["reason"], by if row["channel"] else "")
        cells.append((customer, name, row["pair_id"], *last))
    return grid(("customer", "name", "pair", "verdict", "why", "by"), cells)


def _due_customers(services: Services) -> int:
    from solespan.api.services.notices.deciding import preview

    return len(_written_to(preview(services)))


def _written_to(seen: DecisionSnapshot) -> set[str]:
    """Return the customers of the pairs that are written about."""
    return set(seen.decisions["wearer_id"][seen.decisions["verdict"] != "no"])
