"""Work command.

How are the jobs run that nobody waits for: deciding about notices and sending them?
"""

from __future__ import annotations

import signal
from typing import TYPE_CHECKING, Annotated

import typer

from solespan.api.cli.stopping import LONGEST_END_S, end_within

if TYPE_CHECKING:
    from solespan.api.services.notices.worker import NoticeWorker

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the command."""

    @app.command("work")
    def work(
        once: Annotated[bool, typer.Option("--once", help="One round, then end.")] = False,
    ) -> None:
        """Keep forecasts current, decide about notices and send them, until stopped."""
        run(once=once)


def run(*, once: bool) -> None:
    """Work until a signal asks to stop; the notice at hand is finished first."""
    from solespan.api.logs import configure_logs
    from solespan.api.services.notices.worker import NoticeWorker
    from solespan.api.services.operation.backup_schedule import BackupSchedule
    from solespan.api.services.periodic_loop import end_loops
    from solespan.api.settings import load_settings
    from solespan.api.storage.schema import prepare, refuse_unbound_role
    from solespan.api.wiring import build_services

    settings = load_settings()
    services = build_services(settings)
    try:
        prepare(services.database)
        if settings.accounts:
            refuse_unbound_role(services.database)
        worker, backups = NoticeWorker(services), BackupSchedule(services)
        if once:
            backups.once()
            sent = worker.once()
            typer.echo(
                f"Sent {sent.sent}, to be tried again {sent.later}, not delivered {sent.failed}, "
                f"no longer wanted {sent.cancelled}."
            )
            return
        configure_logs(settings.log_level)
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda *_: _ask_to_end(worker))
        typer.echo("solespan works (end with Ctrl-C)", err=True)
        services.refitter.start()
        backups.start()
        worker.run()
        end_loops(worker, services.refitter, backups)
    finally:
        services.database.close()


def _ask_to_end(worker: NoticeWorker) -> None:
    end_within(LONGEST_END_S)
    worker.ask_to_stop()
