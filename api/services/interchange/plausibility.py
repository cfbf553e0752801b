"""Plausibility service.

Which checks and soles are odd, though possible, so that someone should look at them again?

A reading is compared with the one before it on the same foot, point and sole. A rise is too large
when it is over three standard deviations of the difference of two readings. One reading has an SD
of 0.2 mm with a caliper, 0.1 mm with a depth gauge or ultrasound (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from solespan.api.services.interchange.drafts import Draft
from solespan.api.services.interchange.reference_data import KnownRecords
from solespan.api.services.interchange.soles import attach_soles, records
from solespan.forecast.bench.visits import works_of
from solespan.forecast.layers.limits import ball_limits_mm
from solespan.forecast.observation.thumb import believable_mm
from solespan.forecast.units import iron_to_mm

__all__ = ["question_checks", "question_soles"]

GAUGE_SD_MM = {"caliper": 0.2, "depth_gauge": 0.1, "ultrasonic": 0.1, "thumb": 0.2}
SD_OF_DIFFERENCE = 3.0
OVER_NOMINAL_MM = 1.5
LEATHER_IN_IRONS = (7.0, 14.0)  # as millimetres rarer than as irons: 7 to 14 iron are usual
GRADED_POINTS = ("ball", "toe")  # the heel's top piece cannot be judged by thumb
FRESH_DAYS = 14  # a sole fitted so lately is as thick as when new; common practice, no source
SERIES = ["pair_id", "foot", "point", "sole_id"]
RENEWS = {
    "ball": {"full_sole", "half_sole", "rewelt"},
    "toe": {"full_sole", "half_sole", "rewelt", "toe_plate", "toe_piece"},
    "heel": {"full_sole", "rewelt", "top_piece", "heel_block"},
    "waist": {"full_sole", "rewelt"},
}


def question_soles(world: KnownRecords) -> None:
    """Question soles that are at their usual limit when new, and irons typed as millimetres."""
    draft = world.drafts["soles"]
    frame = draft.frame
    usual = pd.Series(ball_limits_mm(frame), dtype="float64")
    nominal = frame["nominal_thickness_mm"]
    draft.question(
        (frame["limit_mm"].isna() & (nominal <= usual)).to_numpy(),
        "nominal_thickness_mm",
        lambda at: (
            f"not thicker when new than the usual limit of its material ({usual[at]:g} mm): "
            "it is due at once"
        ),
        "a thicker sole, or a limit_mm of its own",
    )
    low, high = LEATHER_IN_IRONS
    in_mm = pd.Series("nominal_thickness_mm" in draft.cells, index=frame.index)
    if "nominal_thickness_iron" in draft.cells:
        in_mm &= np.array([cell == "" for cell in draft.cells["nominal_thickness_iron"]])
    leather = frame["material"].astype("str").str.endswith("leather")
    halves = (nominal * 2) % 1 == 0
    draft.question(
        (in_mm & leather & halves & nominal.between(low, high)).to_numpy(dtype=bool),
        "nominal_thickness_mm",
        lambda at: (
            "thick for a leather sole; if these are irons, it is "
            f"{iron_to_mm(float(nominal[at])):.2f} mm"
        ),
        "millimetres; irons go into nominal_thickness_iron",
    )


def question_checks(world: KnownRecords, line: pd.DataFrame) -> None:
    """Question readings that rose, that look like irons, that follow a hole, or look swapped."""
    draft = world.drafts["checks"]
    _question_methods(draft)
    seen = _all_checks(world, line)
    if seen.empty:
        return
    _question_irons(draft, seen)
    _question_grades(draft, seen)
    measured = seen[seen["value_mm"].notna()].copy()
    _question_growth(world, draft, measured)
    _question_after_hole(draft, seen)
    _question_swapped(draft, measured)


def _question_methods(draft: Draft) -> None:
    frame = draft.frame
    by_thumb = frame["method"] == "thumb"
    odd = (by_thumb & frame["value_mm"].notna()) | (~by_thumb & frame["grade"].notna())
    draft.question(
        odd.to_numpy(dtype=bool),
        "method",
        "a thumb gives a grade and a gauge a thickness; taken as written",
        "thumb with a grade, or a gauge with a thickness",
    )


def _all_checks(world: KnownRecords, line: pd.DataFrame) -> pd.DataFrame:
    """Gather the file's good checks and the stored ones of the same pairs, each with its sole.

    `place` is the row in the file, -1 for a stored one. Sorted by series and day.
    """
    draft = world.drafts["checks"]
    columns = [*draft.table.key, "value_mm", "grade"]
    taken = draft.taken[columns].assign(place=draft.taken.index)
    if taken.empty:
        return taken
    stored = world.stored["checks"][columns].assign(place=-1)
    stored = stored[stored["pair_id"].isin(list(taken["pair_id"].unique()))]
    both = pd.concat([part for part in (stored, taken) if len(part)], ignore_index=True)
    both = both.drop_duplicates(list(draft.table.key), keep="last", ignore_index=True)
    of_sole = ["sole_id", "nominal_thickness_mm", "fitted_on"]
    both = both.join(attach_soles(both, "checked_on", line)[of_sole])
    both["sd_mm"] = both["method"].map(GAUGE_SD_MM).astype("float64")
    return both.sort_values([*SERIES, "checked_on", "method"], kind="stable", ignore_index=True)


def _ask(
    draft: Draft,
    rows: list[dict[str, Any]],
    column: str,
    why: Callable[[dict[str, Any]], str],
    accepted: str,
) -> None:
    """Question the file's row of each entry, or the other row it was compared with."""
    texts: dict[int, str] = {}
    for row in rows:
        place = row["place"] if row["place"] >= 0 else row.get("other_place", -1)
        if place >= 0:
            texts.setdefault(int(place), why(row))
    mask = np.zeros(len(draft.lines), dtype=bool)
    mask[list(texts)] = True
    draft.question(mask, column, lambda at: texts[at], accepted)


def _question_irons(draft: Draft, seen: pd.DataFrame) -> None:
    over = seen["value_mm"] > seen["nominal_thickness_mm"] + OVER_NOMINAL_MM
    # The heel's top piece has a thickness of its own.
    rows = records(seen[over & (seen["point"] != "heel") & (seen["place"] >= 0)])
    _ask(
        draft,
        rows,
        "value_mm",
        lambda row: (
            f"thicker than the sole was when new ({row['nominal_thickness_mm']:g} mm); if these "
            f"are irons, it is {iron_to_mm(row['value_mm']):.2f} mm"
        ),
        "millimetres; irons go into value_iron",
    )


def _question_grades(draft: Draft, seen: pd.DataFrame) -> None:
    """Question thumb grades that do not go with the thickness of that spot on that day.

    It is what a gauge read, or the nominal thickness of a sole that was fitted lately.
    """
    graded = seen[seen["grade"].notna() & seen["point"].isin(GRADED_POINTS)]
    if graded.empty:
        return
    spot = [*SERIES, "checked_on"]
    of_spot = seen[seen["value_mm"].notna()].groupby(spot, as_index=False)
    read = of_spot.agg(read_mm=("value_mm", "mean"), other_place=("place", "max"))
    beside = graded.merge(read, on=spot, how="left")
    fresh = beside["checked_on"] - beside["fitted_on"] <= pd.Timedelta(days=FRESH_DAYS)
    known_mm = beside["read_mm"].fillna(beside["nominal_thickness_mm"].where(fresh))
    low, high = np.array([believable_mm(word) for word in beside["grade"]]).T
    odd = known_mm.notna() & ((known_mm < low) | (known_mm > high))
    rows = beside.assign(known_mm=known_mm, other_place=beside["other_place"].fillna(-1))[odd]
    _ask(
        draft,
        records(rows),
        "grade",
        lambda row: (
            f"{row['grade']} on {row['checked_on'].date()}, although the sole "
            f"{'was' if row['read_mm'] == row['read_mm'] else 'is new and'} "
            f"{row['known_mm']:.1f} mm thick there"
        ),
        "a grade that goes with the thickness: firm when new, hole when nothing is left",
    )


def _tolerance(sd_mm: Any, other_sd_mm: Any) -> Any:
    return SD_OF_DIFFERENCE * np.sqrt(sd_mm**2 + other_sd_mm**2)


def _question_growth(world: KnownRecords, draft: Draft, measured: pd.DataFrame) -> None:
    before = measured.groupby(SERIES, sort=False)[["value_mm", "sd_mm", "checked_on", "place"]]
    earlier = before.shift(1)
    grown = measured.assign(
        earlier_mm=earlier["value_mm"],
        earlier_on=earlier["checked_on"],
        other_place=earlier["place"].fillna(-1).astype(int),
        allowed_mm=_tolerance(measured["sd_mm"], earlier["sd_mm"]),
    )
    rise = grown["value_mm"] - grown["earlier_mm"]
    later = grown["checked_on"] > grown["earlier_on"]
    ours = (grown["place"] >= 0) | (grown["other_place"] >= 0)
    rows = records(grown[later & ours & (rise > grown["allowed_mm"])])
    if not rows:
        return
    jobs = _jobs(world)
    _ask(
        draft,
        [row for row in rows if not _renewed(row, jobs)],
        "value_mm",
        lambda row: (
            f"{row['value_mm']:g} mm on {row['checked_on'].date()} after {row['earlier_mm']:g} mm "
            f"on {row['earlier_on'].date()}, with no resole between: more than the gauge explains "
            f"({row['allowed_mm']:.2f} mm)"
        ),
        "a thickness that does not grow; a resole is a new row in soles.csv",
    )


def _jobs(world: KnownRecords) -> dict[str, list[dict[str, Any]]]:
    """Gather the bench jobs of each pair, from files and database."""
    days = ["received_on", "finished_on", "returned_on"]
    columns = ["job_id", "pair_id", "work", "more_works", *days]
    stored = world.stored["bench_jobs"][columns]
    parts = [stored]
    if "bench_jobs" in world.drafts:
        taken = world.drafts["bench_jobs"].taken[columns]
        parts = [stored[~stored["job_id"].isin(list(taken["job_id"]))], taken]
    out: dict[str, list[dict[str, Any]]] = {}
    for part in parts:
        for row in records(part):
            out.setdefault(row["pair_id"], []).append(row)
    return out


def _renewed(row: dict[str, Any], jobs: dict[str, list[dict[str, Any]]]) -> bool:
    """Whether work on this point lies between the two readings."""
    for job in jobs.get(row["pair_id"], []):
        ends = [job[c] for c in ("returned_on", "finished_on") if job[c] is not pd.NaT]
        end = ends[0] if ends else row["checked_on"]
        if (
            not RENEWS[row["point"]].isdisjoint(works_of(job["work"], job["more_works"]))
            and job["received_on"] <= row["checked_on"]
            and end >= row["earlier_on"]
        ):
            return True
    return False


def _question_after_hole(draft: Draft, seen: pd.DataFrame) -> None:
    holes = seen[seen["grade"] == "hole"].drop_duplicates(SERIES)
    if holes.empty:
        return
    holes = holes[[*SERIES, "checked_on", "place"]].rename(
        columns={"checked_on": "hole_on", "place": "other_place"}
    )
    after = seen.merge(holes, on=SERIES)
    after = after[(after["checked_on"] > after["hole_on"]) & (after["value_mm"] > 0)]
    _ask(
        draft,
        records(after),
        "value_mm",
        lambda row: (
            f"{row['value_mm']:g} mm on {row['checked_on'].date()}, although a hole was seen there "
            f"on {row['hole_on'].date()}"
        ),
        "no thickness after a hole, before the next sole",
    )


def _question_swapped(draft: Draft, measured: pd.DataFrame) -> None:
    key = ["pair_id", "point", "sole_id", "checked_on"]
    sides = {
        foot: measured[measured["foot"] == foot]
        .drop_duplicates(key)
        .set_index(key)
        .add_suffix(f"_{foot}")
        for foot in ("left", "right")
    }
    both = sides["left"].join(sides["right"], how="inner")
    if len(both) < 2:
        return
    both = both.sort_index().reset_index()
    of_series = both.groupby(key[:3], sort=False)
    near = {
        step: of_series[[f"value_mm_{f}" for f in sides] + [f"sd_mm_{f}" for f in sides]].shift(
            step
        )
        for step in (1, -1)
    }

    def rises(side: str, neighbour: str) -> pd.Series[Any]:
        """Whether the reading of `side` does not fit among those of `neighbour`."""
        value, sd = both[f"value_mm_{side}"], both[f"sd_mm_{side}"]
        out = pd.Series(False, index=both.index)
        for step, shifted in near.items():
            change = (value - shifted[f"value_mm_{neighbour}"]) * step
            out |= change > _tolerance(sd, shifted[f"sd_mm_{neighbour}"])
        return out

    as_written = rises("left", "left") | rises("right", "right")
    exchanged = rises("left", "right") | rises("right", "left")
    odd = both[_clearest(as_written & ~exchanged, of_series.cumcount(), of_series.cumcount(False))]
    odd = odd.assign(place=odd["place_left"], other_place=odd["place_right"])
    _ask(
        draft,
        records(odd),
        "foot",
        lambda row: (
            f"left ({row['value_mm_left']:g} mm) and right ({row['value_mm_right']:g} mm) look "
            "swapped: exchanged, both feet only get thinner; as written, one grows"
        ),
        "left and right as worn",
    )


def _clearest(
    odd: pd.Series[bool], days_before: pd.Series[int], days_after: pd.Series[int]
) -> pd.Series[bool]:
    """Keep of two neighbouring days the one with readings on both sides, else the first.

    At the end of a series it is open which of two days is swapped; one question is enough.
    """
    inner = odd & (days_before > 0) & (days_after > 0)
    beside_inner = (inner.shift(1, fill_value=False) & (days_before > 0)) | (
        inner.shift(-1, fill_value=False) & (days_after > 0)
    )
    after_odd = odd.shift(1, fill_value=False) & (days_before > 0)
    return inner | (odd & ~beside_inner & ~after_odd)
