"""Rack tools of commands: which services and rack do the commands about a rack share?"""

from __future__ import annotations

from collections.abc import Mapping

from solespan.api.errors import NothingForecast, Refused
from solespan.api.storage.rack.records import list_records
from solespan.api.wiring import Services

__all__ = ["bring_up_to_date", "named", "whose"]


def bring_up_to_date(services: Services) -> None:
    """Fit if that is due, and forecast wearers that are behind, as `solespan forecast` does."""
    stale = services.fitter.is_stale(at_once=True)
    if stale:
        services.fitter.refit(services.clock.today())
    services.forecaster.update_behind(everyone=stale)


def whose(services: Services, wearer: str | None) -> str:
    """Return the wearer named, or the only one."""
    if wearer is not None:
        return wearer
    with services.database.reading() as session:
        known = [row["wearer_id"] for row in list_records(session, "wearers", equal={}, limit=9)]
    if not known:
        raise NothingForecast(
            "There is no wearer yet.",
            where="wearers",
            remedy="Import a folder of logs: solespan import FOLDER",
        )
    if len(known) > 1:
        raise Refused(
            "Several wearers have racks here.",
            where="--wearer",
            accepted=", ".join(known[:8]),
            remedy="Say whose rack is meant: --wearer ID",
        )
    return str(known[0])


def named(pair_id: str, labels: Mapping[str, str | None]) -> str:
    """Name a pair by its id and, where it has one, its label."""
    label = labels.get(pair_id)
    return f"{pair_id} ({label})" if label else pair_id
