"""What do the commands of notices do: notices preview, send, list, consent, bounced, ...?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["register"]

Customer = Annotated[str, typer.Argument(help="The customer's id.")]
Channel = Annotated[str, typer.Argument(help="mail, print or webhook.")]


def register(app: typer.Typer) -> None:  # noqa: C901 - one short command after another
    """Add the commands."""
    notices = typer.Typer(no_args_is_help=True, help="Who is written to about which pair.")
    app.add_typer(notices, name="notices")

    @notices.command("preview")
    def preview(
        everyone: Annotated[
            bool, typer.Option("--all", help="Also the pairs not written about, and why.")
        ] = False,
        words: Annotated[
            bool, typer.Option("--words", help="Also what each would be written.")
        ] = False,
    ) -> None:
        """Show who would get a notice now, and why; change nothing."""
        from solespan.api.cli.notices.notices_runs import run_preview

        run_preview(everyone=everyone, words=words)

    @notices.command("gone")
    def gone(
        in_use: Annotated[
            list[str] | None, typer.Option("--in-use", help="A pair that is still in use.")
        ] = None,
        retire: Annotated[
            list[str] | None, typer.Option("--retire", help="A pair that is no longer in use.")
        ] = None,
    ) -> None:
        """List pairs that are probably no longer in use, or say of some what is true."""
        from solespan.api.cli.notices.gone_runs import run_gone

        run_gone(in_use or [], retire or [])

    @notices.command("send")
    def send(
        yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
        dry_run: Annotated[bool, typer.Option("--dry-run", help="As preview --words.")] = False,
    ) -> None:
        """Write the notices that are due, and send all that may go now."""
        from solespan.api.cli.notices.notices_runs import run_preview, run_send

        if dry_run:
            run_preview(everyone=False, words=True)
        else:
            run_send(yes=yes)

    @notices.command("list")
    def list_them(
        state: Annotated[
            str | None, typer.Option("--state", help="pending, sent, failed or cancelled.")
        ] = None,
    ) -> None:
        """List notices, newest first, and where each is."""
        from solespan.api.cli.notices.notices_runs import run_list

        run_list(state)

    @notices.command("retry")
    def retry(notice: Annotated[str, typer.Argument(help="The notice's id.")]) -> None:
        """Try a notice again that was not delivered."""
        from solespan.api.cli.notices.notices_runs import run_retry

        run_retry(notice)

    @notices.command("rules")
    def rules(
        file: Annotated[
            Path | None, typer.Argument(help="JSON file to take them from; left out = show them.")
        ] = None,
    ) -> None:
        """Show the rules of notices, or change them."""
        from solespan.api.cli.notices.notices_runs import run_rules

        run_rules(file)

    @notices.command("consent")
    def consent(
        customer: Customer,
        channel: Channel,
        how: Annotated[str, typer.Option("--how", help="How it was given or withdrawn.")],
        by: Annotated[str, typer.Option("--by", help="Who took it.")] = "",
        on: Annotated[
            str | None, typer.Option("--on", help="The day, YYYY-MM-DD; left out = today.")
        ] = None,
        postal_address: Annotated[
            str | None, typer.Option("--postal-address", help="Where letters are posted to.")
        ] = None,
        withdraw: Annotated[bool, typer.Option("--withdraw", help="It no longer holds.")] = False,
    ) -> None:
        """Write down that a customer agreed to be written to, or no longer does."""
        from solespan.api.cli.notices.notices_runs import run_consent

        run_consent(
            customer,
            channel,
            how=how,
            by=by,
            on=on,
            postal_address=postal_address,
            withdraw=withdraw,
        )

    @notices.command("bounced")
    def bounced(
        address: Annotated[str, typer.Argument(help="The address.")],
        reason: Annotated[str, typer.Option("--reason", help="What the server said.")] = "",
        lift: Annotated[bool, typer.Option("--lift", help="It works again.")] = False,
    ) -> None:
        """Stop an address that takes no mail, or let it be written to again."""
        from solespan.api.cli.notices.notices_runs import run_bounced

        run_bounced(address, reason, lift=lift)

    @notices.command("read-bounces")
    def read_bounces(
        files: Annotated[
            list[typer.FileBinaryRead],
            typer.Argument(help="Mails that came back; - = from a pipe."),
        ],
    ) -> None:
        """Stop the addresses that mails which came back say are none."""
        from solespan.api.cli.notices.notices_runs import run_read_bounces

        run_read_bounces([file.read() for file in files])
