"""Pair names service: which pair does a person mean by an id or by what its owner calls it?"""

from __future__ import annotations

from difflib import get_close_matches

from sqlalchemy.orm import Session

from solespan.api.errors import NotFound, Refused
from solespan.api.storage.rack import records as stored

__all__ = ["pair_named"]

SUGGESTED_AMONG = 5000
MOST_SUGGESTED = 3
MOST_NAMED = 8


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
