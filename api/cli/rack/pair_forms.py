"""Forms of a pair at the terminal: which options fill them in, and how is one step taken?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

import typer

__all__ = ["OPTIONS", "Iron", "LimitMm", "Material", "Mm", "day_of", "do_step", "filled", "sole_of"]

OPTIONS = {
    "": "",
    "thickness": "--mm or --iron",
    "fitted_on": "--on",
    "received_on": "--on",
    "returned_on": "--on",
    "removed_on": "--on",
    "promised_on": "--promised",
    "acquired_on": "--acquired",
    "size_eu": "--size",
    "limit": "--limit-mm",
    "wearer": "--wearer",
}
Material = Annotated[
    str | None, typer.Option("--material", help="Of the sole: oak_bark_leather, rubber, ...")
]
Mm = Annotated[
    float | None, typer.Option("--mm", help="Thickness when new. Default: usual for the material.")
]
Iron = Annotated[float | None, typer.Option("--iron", help="The same in irons.")]
LimitMm = Annotated[
    float | None, typer.Option("--limit-mm", help="Thickness at which the ball is resoled.")
]


def do_step(command: str, pair: str, on: str | None, step: Any) -> Any:
    """Do one step of a pair on a day, in one transaction."""
    from solespan.api.cli.messages import typed_options
    from solespan.api.cli.opening import serving
    from solespan.api.services.rack.pair_names import pair_named
    from solespan.api.services.rack.records import read

    with serving(command) as services, services.database.writing() as session:
        pair_id = pair_named(session, pair)
        wearer_id = read(session, "pairs", {"pair_id": pair_id})["wearer_id"]
        with typed_options(OPTIONS):
            return step(services, session, pair_id, day_of(services, session, on, wearer_id))


def day_of(services: Any, session: Any, on: str | None, wearer_id: str) -> str:
    """Read a day up to today where the wearer lives."""
    from solespan.api.cli.options import read_day
    from solespan.api.services.planning.rack import known_wearer

    zone = known_wearer(session, wearer_id)["time_zone"]
    return read_day(on, services.clock.today(zone), past=True).isoformat()


def sole_of(
    material: str | None, mm: float | None, iron: float | None, limit_mm: float | None
) -> Mapping[str, Any]:
    """Return the fields of a sole; a limit is in millimetres whatever the thickness is in."""
    from solespan.forecast.units import iron_to_mm

    thickness = mm if iron is None else iron_to_mm(iron)
    return {"material": material, "thickness": thickness, "limit": limit_mm}


def filled(**values: Any) -> dict[str, str]:
    """Return the fields that were given, as a form has them."""
    return {name: str(value) for name, value in values.items() if value is not None}
