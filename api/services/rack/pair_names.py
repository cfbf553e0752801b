"""Pair names service.

Which pair does a person mean by an id or by its name, and which pairs does a short form offer?
"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches

from sqlalchemy.orm import Session

from solespan.api.errors import NotFound, Refused
from solespan.api.services.planning.page import MOST_PAIRS, pairs_to_choose
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.forecasts import forecast_reads
from solespan.api.storage.rack import records as stored

__all__ = ["PairChoices", "choose_pairs", "label_of", "pair_named"]

SUGGESTED_AMONG = 5000
MOST_SUGGESTED = 3
MOST_NAMED = 8
MOST_WEARERS = 500


def pair_named(session: Session, name: str) -> str:
    """Return the id of the pair with this id, otherwise of the only one with this label.

    Capital letters of a label do not matter. Raises `NotFound` with the nearest names, `Refused`
    where several pairs have the label.
    """
    if stored.find_record(session, "pairs", {"pair_id": name}) is not None:
        return name
    labelled = stored.pairs_labelled(session, name, MOST_NAMED + 1)
    if len(labelled) == 1:
        return labelled[0][0]
    if labelled:
        shown = ", ".join(f"{pair} (of {wearer})" for pair, wearer in labelled[:MOST_NAMED])
        raise Refused(
            f"Several pairs are called {name!r}.",
            where="PAIR",
            accepted=shown + (", ..." if len(labelled) > MOST_NAMED else ""),
            remedy="Name one of them by its id.",
        )
    ids = stored.nearest_ids(session, "pairs", SUGGESTED_AMONG)
    known = {n.casefold(): n for n in (*ids, *stored.some_labels(session, SUGGESTED_AMONG))}
    near = get_close_matches(name.casefold(), known, n=MOST_SUGGESTED, cutoff=0.5)
    raise NotFound(
        f"There is no pair {name!r}." if name else "No pair was named.",
        where="PAIR",
        remedy=f"Did you mean {' or '.join(repr(known[one]) for one in near)}?"
        if near
        else "See the pairs: solespan list pairs",
    )


@dataclass(frozen=True)
class PairChoices:
    """The wearers, the one chosen, their time zone, and their pairs with a sole on, by name."""

    wearers: list[tuple[str, str]]
    wearer: str
    zone: str
    pairs: list[tuple[str, str]]


def choose_pairs(session: Session, wearer: str = "", pair_id: str = "") -> PairChoices:
    """List the pairs of a wearer: the one named, the pair's own, or the first there is."""
    every = stored.list_records(session, "wearers", equal={}, limit=MOST_WEARERS)
    wearers = [(row["wearer_id"], row["name"] or row["wearer_id"]) for row in every]
    whose = forecast_reads.wearer_of_pair(session, pair_id) if pair_id else None
    wearer = wearer or (whose["wearer_id"] if whose else wearers[0][0] if wearers else "")
    zone = next((row["time_zone"] for row in every if row["wearer_id"] == wearer), "UTC")
    rows = stored.list_records(session, "pairs", equal={"wearer_id": wearer}, limit=MOST_PAIRS)
    return PairChoices(wearers, wearer, zone, pairs_to_choose(session, wearer, rows))


def label_of(session: Session, pair_id: str) -> str:
    """Return what a pair is called. Raises `NotFound`."""
    found = stored.find_record(session, "pairs", {"pair_id": pair_id})
    if found is None:
        raise unknown_id(session, "pairs", "pair_id", pair_id)
    return str(found["label"] or pair_id)
