"""References service: does each row have a key of its own, and does everything it names exist?"""

from __future__ import annotations

import difflib
from collections import defaultdict
from collections.abc import Collection
from typing import Any

import numpy as np
import pandas as pd

from solespan.api.services.interchange.drafts import Draft, Mask
from solespan.api.services.interchange.reference_data import KnownRecords
from solespan.forecast.layers.rows import layer_faults

__all__ = [
    "judge_dates",
    "judge_doubles",
    "judge_layers",
    "judge_owner_kept",
    "judge_pairs_known",
    "judge_wearers_known",
]

IDS_COMPARED = 3000
PAST_DATES = {
    "pairs": ("acquired_on", "in_use_on"),
    "soles": ("fitted_on", "removed_on"),
    "wear_days": ("worn_on",),
    "checks": ("checked_on",),
    "bench_jobs": ("received_on", "finished_on", "returned_on"),
    "layers": ("fitted_on", "removed_on"),
}


def judge_doubles(draft: Draft) -> None:
    """Refuse rows with the same key and different values; leave out identical repeats."""
    key = list(draft.table.key)
    taken = draft.taken
    again = taken[taken.duplicated(key, keep=False)]
    if again.empty:
        return
    distinct = again.drop_duplicates()
    fighting = distinct[distinct.duplicated(key, keep=False)]
    lines: dict[tuple[Any, ...], list[int]] = defaultdict(list)
    for place, values in zip(again.index, again[key].itertuples(index=False), strict=True):
        lines[tuple(values)].append(int(draft.lines[place]))
    keys = dict(zip(again.index, again[key].itertuples(index=False), strict=True))

    def other_lines(at: int) -> str:
        others = [n for n in lines[tuple(keys[at])] if n != draft.lines[at]]
        return ", ".join(str(n) for n in others[:5])

    in_fight = again.merge(fighting[key].drop_duplicates(), on=key, how="left", indicator=True)
    bad = np.zeros(len(draft.lines), dtype=bool)
    bad[again.index[(in_fight["_merge"] == "both").to_numpy()]] = True
    draft.refuse(
        bad,
        key[-1],
        lambda at: f"the same {' + '.join(key)} has other values on line {other_lines(at)}",
        "one row for each " + " + ".join(key),
    )
    repeats = np.zeros(len(draft.lines), dtype=bool)
    repeats[taken.index[taken.duplicated()]] = True
    draft.leave_out(
        repeats, key[-1], lambda at: f"the same row is on line {other_lines(at)}; taken once"
    )


def judge_wearers_known(world: KnownRecords) -> None:
    """Refuse pairs whose wearer's row was refused; question those of a wearer nobody described."""
    pairs, wearers = world.drafts["pairs"], world.drafts.get("wearers")
    if wearers is None:
        return
    stored = set(world.stored["wearers"]["wearer_id"])
    refused = _lines_of_refused(wearers, "wearer_id", stored)
    owners = pairs.values("wearer_id")
    pairs.refuse(
        _among(owners, refused),
        "wearer_id",
        lambda at: f"the row of this wearer (wearers.csv, line {refused[owners[at]]}) was refused",
        "a wearer whose row is taken",
    )
    known = stored | set(wearers.taken["wearer_id"])
    pairs.question(
        ~_among(owners, known),
        "wearer_id",
        "this wearer is not in wearers.csv; added without a name, in the time zone of the shop",
        "a wearer_id of wearers.csv",
    )


def judge_pairs_known(world: KnownRecords, name: str) -> None:
    """Refuse rows of a pair that is neither in the files nor in the database."""
    draft, pairs = world.drafts[name], world.drafts["pairs"]
    stored = set(world.stored["pairs"]["pair_id"])
    refused = _lines_of_refused(pairs, "pair_id", stored)
    named = draft.values("pair_id")
    draft.refuse(
        _among(named, refused),
        "pair_id",
        lambda at: f"the row of this pair (pairs.csv, line {refused[named[at]]}) was refused",
        "a pair whose row is taken",
    )
    known = stored | set(pairs.taken["pair_id"])
    nearest: dict[str, str] = {}

    def why(at: int) -> str:
        text = named[at]
        if text not in nearest:
            near = _nearest(text, known) if len(nearest) < 100 else ""
            nearest[text] = f"unknown pair{near}"
        return nearest[text]

    draft.refuse(~_among(named, known), "pair_id", why, "a pair_id of pairs.csv or the database")


def judge_dates(world: KnownRecords, name: str) -> None:
    """Refuse what is said to have happened after today, where the wearer lives."""
    draft = world.drafts[name]
    todays = world.todays(draft)
    for column in PAST_DATES[name]:
        draft.refuse(
            draft.values(column) > todays,
            column,
            lambda at: f"this date is in the future (today is {str(todays[at])[:10]})",
            "a day up to today",
        )


def judge_owner_kept(world: KnownRecords, name: str) -> None:
    """Refuse a sole or a job that the database knows on another pair."""
    draft = world.drafts[name]
    key = draft.table.key[0]
    stored = world.stored[name]
    on_pair = dict(zip(stored[key], stored["pair_id"], strict=True))
    ids, pairs = draft.values(key), draft.values("pair_id")
    moved = np.array([on_pair.get(i, p) != p for i, p in zip(ids, pairs, strict=True)], dtype=bool)
    draft.refuse(
        moved,
        key,
        lambda at: f"this {key} belongs to the pair {on_pair[ids[at]]!r} in the database",
        f"a {key} that no other pair has",
    )


def judge_layers(world: KnownRecords) -> None:
    """Refuse layers that cannot be true by themselves: days, thickness, seams."""
    draft = world.drafts["layers"]
    empty = draft.frame.astype(object).where(draft.frame.notna(), None)
    for place, row in enumerate(empty.to_dict("records")):
        for column, why, accepted in layer_faults(_named(row)) if draft.good[place] else ():
            here = np.arange(len(empty)) == place
            draft.refuse_cells(here, column, why, accepted)


def _named(row: dict[Any, Any]) -> dict[str, Any]:
    return {str(column): value for column, value in row.items()}


def _lines_of_refused(draft: Draft, key: str, stored: Collection[str]) -> dict[str, int]:
    """Return the line of each refused row whose id is known from nowhere else."""
    known = set(stored) | set(draft.taken[key])
    gone = ~draft.good & ~draft.doubled
    return {
        text: int(line)
        for text, line in zip(draft.values(key)[gone], draft.lines[gone], strict=True)
        if text is not None and text not in known
    }


def _among(values: Any, known: Collection[str]) -> Mask:
    return pd.Series(values, dtype=object).isin(list(known)).to_numpy(dtype=bool)


def _nearest(text: str, known: set[str]) -> str:
    if len(known) > IDS_COMPARED:
        return ""
    near = difflib.get_close_matches(text, known, n=1)
    return f"; the nearest known one is {near[0]!r}" if near else ""
