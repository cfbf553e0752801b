"""Soles service.

Can the soles of a pair follow each other as the files say, and was one on when it was worn?
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from solespan.api.services.interchange.drafts import Draft
from solespan.api.services.interchange.reference_data import KnownRecords

__all__ = ["attach_soles", "judge_jobs", "judge_on_a_sole", "judge_soles", "records", "timeline"]

SOLE_WORK = ("full_sole", "half_sole", "rewelt")


def judge_soles(world: KnownRecords, first_worn: dict[str, Any]) -> pd.DataFrame:
    """Refuse soles that cannot be true; return the timeline of what remains.

    first_worn gives the first stored wear day of each pair.
    """
    draft = world.drafts["soles"]
    frame = draft.frame
    draft.refuse(
        (frame["removed_on"] < frame["fitted_on"]).to_numpy(),
        "removed_on",
        lambda at: f"removed before it was fitted ({_day(frame['fitted_on'][at])})",
        "the day it was fitted, or later, or empty",
    )
    draft.refuse(
        (frame["limit_mm"] >= frame["nominal_thickness_mm"]).to_numpy(),
        "limit_mm",
        lambda at: (
            f"the sole is not thicker when new ({frame['nominal_thickness_mm'][at]:g} mm) "
            "than at its limit"
        ),
        "a limit under the thickness when new, or empty for the usual limit of the material",
    )
    for _ in range(len(frame) + 1):  # refusing one sole can free the next
        line = timeline(world)
        if not (_refuse_overlaps(draft, line) or _refuse_after_wear(draft, line, first_worn)):
            break
    _close_open_soles(draft, line)
    return line


def timeline(world: KnownRecords) -> pd.DataFrame:
    """Put the soles of files and database in order.

    Returns
    -------
    DataFrame
        Sorted by pair and day: pair_id, sole_id, fitted_on, removed_on (filled by the next sole's
        day where it is open), material, nominal_thickness_mm, place (row in the file, -1 = stored
        only), pk (NaN = new), open (removed_on was empty and a next sole follows), and the next
        sole's `next_on` and `next_place`.
    """
    draft = world.drafts["soles"]
    columns = ["pair_id", "sole_id", "fitted_on", "removed_on", "material", "nominal_thickness_mm"]
    taken = draft.taken[columns].assign(place=draft.taken.index)
    stored = world.stored["soles"]
    taken = taken.merge(stored[["sole_id", "pk"]], on="sole_id", how="left")
    rest = stored[~stored["sole_id"].isin(list(taken["sole_id"]))]
    rest = rest[[*columns, "pk"]].assign(place=-1)
    parts = [part for part in (rest, taken) if len(part)]
    line = pd.concat(parts, ignore_index=True) if parts else taken
    line = line.sort_values(["pair_id", "fitted_on", "place"], kind="stable", ignore_index=True)
    of_pair = line.groupby("pair_id", sort=False)
    line["next_on"] = of_pair["fitted_on"].shift(-1)
    line["next_place"] = of_pair["place"].shift(-1).fillna(-1).astype(int)
    line["open"] = line["removed_on"].isna() & line["next_on"].notna()
    line["removed_on"] = line["removed_on"].fillna(line["next_on"])
    return line


def _refuse_overlaps(draft: Draft, line: pd.DataFrame) -> bool:
    overlapping = line[
        (line["removed_on"] > line["next_on"]) | (line["fitted_on"] == line["next_on"])
    ]
    found = False
    for row in records(overlapping):
        place = row["next_place"] if row["next_place"] >= 0 else row["place"]
        if place < 0:
            continue
        on = draft.frame["fitted_on"][place]
        if row["fitted_on"] == row["next_on"]:
            why = f"another sole ({row['sole_id']!r}) was fitted to this pair on the same day"
        elif place == row["place"]:
            why = f"the sole fitted next, on {_day(row['next_on'])}, overlaps with this one"
        else:
            why = (
                f"fitted on {_day(on)}, while the sole {row['sole_id']!r} was on until "
                f"{_day(row['removed_on'])}"
            )
        mask = np.zeros(len(draft.lines), dtype=bool)
        mask[place] = True
        found |= bool(draft.good[place])
        draft.refuse(mask, "fitted_on", why, "soles of one pair that follow each other")
    return found


def _refuse_after_wear(draft: Draft, line: pd.DataFrame, first_worn: dict[str, Any]) -> bool:
    if not first_worn:
        return False
    first = line.drop_duplicates("pair_id")
    worn = pd.to_datetime(first["pair_id"].map(first_worn)).astype("datetime64[s]")
    late = first[(first["fitted_on"] > worn) & (first["place"] >= 0)]
    mask = np.zeros(len(draft.lines), dtype=bool)
    mask[late["place"]] = True
    days = dict(zip(late["place"], worn[late.index], strict=True))
    draft.refuse(
        mask,
        "fitted_on",
        lambda at: f"the database has wear of this pair before, on {_day(days[at])}",
        "a first sole that was on when the pair was first worn",
    )
    return bool(mask.any())


def _close_open_soles(draft: Draft, line: pd.DataFrame) -> None:
    mask = np.zeros(len(draft.lines), dtype=bool)
    ends: dict[int, str] = {}
    for row in records(line[line["open"] & (line["place"] >= 0)]):
        mask[row["place"]] = True
        ends[row["place"]] = _day(row["next_on"])
        draft.frame.loc[row["place"], "removed_on"] = row["next_on"]
    draft.question(
        mask,
        "removed_on",
        lambda at: f"the next sole was fitted on {ends[at]}; taken as removed that day",
        "the day this sole was taken off",
    )


def attach_soles(frame: pd.DataFrame, day: str, line: pd.DataFrame) -> pd.DataFrame:
    """Add the sole that was on at each row's `day`.

    Returns sole_id, fitted_on, removed_on, material, nominal_thickness_mm in the order of `frame`,
    empty where the pair had no sole yet. A day on which a sole is fitted belongs to the new one.
    """
    columns = ["sole_id", "fitted_on", "removed_on", "material", "nominal_thickness_mm"]
    left = frame[["pair_id", day]].reset_index(drop=True)
    left["row"] = left.index
    right = line[["pair_id", *columns]].sort_values("fitted_on", kind="stable")
    usable = left[left["pair_id"].notna() & left[day].notna()].sort_values(day, kind="stable")
    found = pd.merge_asof(
        usable.astype({"pair_id": object}),
        right.astype({"pair_id": object}),
        left_on=day,
        right_on="fitted_on",
        by="pair_id",
    )
    return found.set_index("row")[columns].reindex(left.index)


def judge_on_a_sole(world: KnownRecords, name: str, day: str, line: pd.DataFrame) -> None:
    """Refuse wear and checks before the first sole; question those when no sole was on."""
    draft = world.drafts[name]
    sole = attach_soles(draft.frame, day, line)
    first = line.drop_duplicates("pair_id").set_index("pair_id")["fitted_on"]
    pairs = draft.frame["pair_id"]
    has_sole = pairs.isin(list(first.index)).to_numpy()
    soles = world.drafts["soles"]
    gone = ~soles.good & ~soles.doubled
    lines = dict(zip(soles.values("pair_id")[gone], soles.lines[gone], strict=True))

    def why_none(at: int) -> str:
        refused = lines.get(pairs[at])
        if refused is not None:
            return f"the pair's sole (soles.csv, line {refused}) was refused"
        return "no sole of this pair is known"

    draft.refuse(~has_sole, day, why_none, "a pair with a sole in soles.csv or the database")
    draft.refuse(
        sole["sole_id"].isna().to_numpy(),
        day,
        lambda at: f"before the pair's first sole was fitted ({_day(first[pairs[at]])})",
        "the day the first sole was fitted, or later",
    )
    draft.question(
        (draft.frame[day] > sole["removed_on"]).to_numpy(),
        day,
        lambda at: (
            f"the pair had no sole that day: the last was removed on {_day(sole['removed_on'][at])}"
        ),
        "a day with a sole on the pair",
    )


def judge_jobs(world: KnownRecords, line: pd.DataFrame) -> None:
    """Refuse bench jobs that end before they begin or before the pair's first sole."""
    draft = world.drafts["bench_jobs"]
    frame = draft.frame
    for later, earlier in (
        ("finished_on", "received_on"),
        ("returned_on", "received_on"),
        ("returned_on", "finished_on"),
    ):
        draft.refuse(
            (frame[later] < frame[earlier]).to_numpy(),
            later,
            lambda at, earlier=earlier: f"before {earlier} ({_day(frame[earlier][at])})",  # type: ignore[misc]
            f"the day of {earlier}, or later",
        )
    first = line.drop_duplicates("pair_id").set_index("pair_id")["fitted_on"]
    first_on = first.reindex(frame["pair_id"]).set_axis(frame.index)
    end = frame["returned_on"].fillna(frame["finished_on"])
    fits_first_sole = end.isna() & frame["work"].isin(SOLE_WORK)
    early = (frame["received_on"] < first_on) & ~fits_first_sole & ~(end >= first_on)
    draft.refuse(
        early.to_numpy(dtype=bool),
        "received_on",
        lambda at: f"work before the pair's first sole was fitted ({_day(first_on[at])})",
        "work on a sole that is known; earlier resoles are counted in pairs.earlier_resoles",
    )


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows as dicts."""
    return [{str(key): value for key, value in row.items()} for row in frame.to_dict("records")]


def _day(value: Any) -> str:
    return str(pd.Timestamp(value).date())
