"""Commands of pairs: `hand-over`, `receive`, `retire` and `in-use`."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from solespan.api.cli.options import On, Pair
from solespan.api.cli.output import say
from solespan.api.cli.rack.pair_forms import (
    Iron,
    LimitMm,
    Material,
    Mm,
    do_step,
    filled,
    sole_of,
)

__all__ = ["register"]


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("hand-over")(hand_over)
    app.command("receive")(receive)
    app.command("retire")(retire)
    app.command("in-use")(in_use)


def hand_over(
    pair: Pair,
    work: Annotated[str, typer.Option("--work", help="full_sole, half_sole, top_piece, ...")],
    on: On = None,
    promised: Annotated[
        str | None, typer.Option("--promised", help="Day promised back, YYYY-MM-DD.")
    ] = None,
) -> None:
    """Log that a pair was handed over to a shop; it is away until it is received."""
    from solespan.api.services.rack.sole_forms import send_pair

    def step(services: Any, session: Any, pair_id: str, day: str) -> str:
        typed = filled(work=work, received_on=day, promised_on=promised)
        send_pair(services, session, pair_id, typed)
        return pair_id

    say(f"Handed over: {do_step('hand-over', pair, on, step)}.")


def receive(
    pair: Pair,
    on: On = None,
    keep_sole: Annotated[
        bool, typer.Option("--keep-sole", help="It came back without a new sole.")
    ] = False,
    material: Material = None,
    mm: Mm = None,
    iron: Iron = None,
    limit_mm: LimitMm = None,
) -> None:
    """Log that a pair is back from a shop, with its new sole where it got one."""
    from solespan.api.services.rack.sole_forms import receive_pair

    typed = filled(keep_sole="true" if keep_sole else None, **sole_of(material, mm, iron, limit_mm))

    def step(services: Any, session: Any, pair_id: str, day: str) -> str:
        soled = receive_pair(services, session, pair_id, typed | {"returned_on": day})["soled"]
        return f"{pair_id} is back{' with a new sole' if soled else ''}."

    say(do_step("receive", pair, on, step))


def retire(
    pair: Pair,
    on: On = None,
    guard_only: Annotated[
        bool, typer.Option("--guard-only", help="Only its guard; the sole below carries on.")
    ] = False,
) -> None:
    """Let the sole on a pair end, which retires the pair until a new one is on."""
    from solespan.api.services.rack.sole_forms import end_sole

    def step(services: Any, session: Any, pair_id: str, day: str) -> str:
        only = {"guard_only": "true"} if guard_only else {}
        end_sole(services, session, pair_id, {"removed_on": day, **only})
        return pair_id

    done = do_step("retire", pair, on, step)
    say(f"The guard is off: {done}." if guard_only else f"Retired: {done}.")


def in_use(pair: Pair) -> None:
    """Keep that a pair is still worn, so that it does not count as probably gone."""
    from solespan.api.services.rack.sole_forms import say_in_use

    def step(services: Any, session: Any, pair_id: str, _day: str) -> str:
        say_in_use(services, session, pair_id, {})
        return pair_id

    say(f"Noted: {do_step('in-use', pair, None, step)} is still in use.")
