"""Which small and odd logs must everything be able to read? Named ones, and drawn ones."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
from hypothesis import strategies as st

from solespan.forecast.frames import CONSTRUCTIONS, FEET, GRADES, MATERIALS, POINTS, SURFACES, WORKS
from tests.forecast.builders import day, grade, pair_row, reading, sole_row, wear_rows

Frames = dict[str, pd.DataFrame]
LAST = 364  # days after the first sole was fitted; the day from which is looked ahead
METHODS = ("caliper", "depth_gauge", "ultrasonic")


def frames_of(**rows: list[dict[str, object]]) -> Frames:
    """Frames of rows; a table without a row is left out, but for pairs and soles."""
    return {
        name: pd.DataFrame(found)
        for name, found in rows.items()
        if found or name in ("pairs", "soles")
    }


def one(**more: list[dict[str, object]]) -> Frames:
    """One pair with one sole, and what else was logged of it."""
    return frames_of(**({"pairs": [pair_row("p")], "soles": [sole_row("p")]} | more))


def job(work: str, received: int, returned: int | None, number: int = 1) -> dict[str, object]:
    """Work at a shop."""
    back = pd.NaT if returned is None else day(returned)
    return {
        "job_id": f"j{number}", "pair_id": "p", "work": work, "received_on": day(received),
        "finished_on": back, "returned_on": back,
    }  # fmt: skip


THREE_DAYS = wear_rows("p", (3, 40, 200))
MANY_DAYS = wear_rows("p", range(1, LAST, 5))
TWO_GRADES = [grade("p", 60, "left", "firm"), grade("p", 300, "right", "give")]
SILENT = [f"s{i}" for i in range(6)]

NAMED: dict[str, Callable[[], Frames]] = {
    "a pair without any wear day": one,
    "three wear days and two thumb grades": lambda: one(wear_days=THREE_DAYS, checks=TWO_GRADES),
    "only thumb grades": lambda: one(checks=TWO_GRADES),
    "only a hole": lambda: one(checks=[grade("p", 300, "left", "hole")]),
    "worn to a hole": lambda: one(wear_days=MANY_DAYS, checks=[grade("p", 300, "left", "hole")]),
    "one check": lambda: one(checks=[reading("p", 100, "left", 4.2)]),
    "one check of the waist": lambda: one(
        checks=[reading("p", 9, "left", 5.1) | {"point": "waist"}]
    ),
    "one check of the heel": lambda: one(checks=[reading("p", 9, "left", 6.1) | {"point": "heel"}]),
    "one check of the toe by thumb": lambda: one(
        checks=[grade("p", 9, "left", "soft") | {"point": "toe"}]
    ),
    "a check when new and no wear": lambda: one(
        checks=[reading("p", 0, foot, 5.0) for foot in FEET]
    ),
    "everything on one day": lambda: one(
        wear_days=wear_rows("p", [0]),
        checks=[reading("p", 0, "left", 5.0), grade("p", 0, "right", "firm")],
    ),
    "everything today": lambda: frames_of(
        pairs=[pair_row("p")],
        soles=[sole_row("p", fitted_on=day(LAST))],
        wear_days=wear_rows("p", [LAST]),
        checks=[reading("p", LAST, "left", 5.0)],
    ),
    "one foot only": lambda: one(
        wear_days=MANY_DAYS,
        checks=[reading("p", k, "left", 5.0 - k / 200.0) for k in (0, 90, 180, 270)],
    ),
    "a wearer without pairs": lambda: one(
        wearers=[{"wearer_id": "ada"}, {"wearer_id": "bea"}], wear_days=THREE_DAYS
    ),
    "a pair without a sole": lambda: frames_of(
        pairs=[pair_row("p"), pair_row("q", "bea")], soles=[sole_row("p")]
    ),
    "a sole that is off and none after it": lambda: frames_of(
        pairs=[pair_row("p")], soles=[sole_row("p", removed_on=day(300))], wear_days=MANY_DAYS[:50]
    ),
    "soles fitted and taken off on one day": lambda: frames_of(
        pairs=[pair_row("p")], soles=[sole_row("p", removed_on=day(0))]
    ),
    "three soles and nothing else": lambda: frames_of(
        pairs=[pair_row("p")],
        soles=[
            sole_row("p", number=n, fitted_on=day(100 * n - 100), removed_on=end)
            for n, end in ((1, day(100)), (2, day(200)), (3, pd.NaT))
        ],
    ),
    "only silent customers": lambda: frames_of(
        pairs=[pair_row(p, p) for p in SILENT],
        soles=[sole_row(p, fitted_on=day(40 * i)) for i, p in enumerate(SILENT)],
    ),
    "silent customers whose soles came off": lambda: frames_of(
        pairs=[pair_row(p, p) for p in SILENT],
        soles=[sole_row(p, removed_on=day(200 + 20 * i)) for i, p in enumerate(SILENT)],
    ),
    "at a shop and not back": lambda: one(
        wear_days=MANY_DAYS, bench_jobs=[job("full_sole", 350, None)]
    ),
    "a sole as thin as its limit": lambda: frames_of(
        pairs=[pair_row("p")], soles=[sole_row("p", nominal_thickness_mm=2.0)]
    ),
    "a sole without thickness": lambda: frames_of(
        pairs=[pair_row("p")], soles=[sole_row("p", nominal_thickness_mm=0.0, limit_mm=0.0)]
    ),
    "wear days of no hours": lambda: one(wear_days=wear_rows("p", (1, 2, 3), hours=0.0)),
    "always at the wheel": lambda: one(wear_days=wear_rows("p", (1, 2, 3), driving_minutes=480.0)),
    "the same reading for ever": lambda: one(
        wear_days=MANY_DAYS, checks=[reading("p", k, "left", 5.0) for k in range(0, 360, 30)]
    ),
}


@st.composite
def drawn(draw: st.DrawFn) -> Frames:
    """Draw up to three pairs of up to two wearers with little logged of them."""
    pairs, soles, wear, checks, jobs = [], [], [], [], []
    offset = st.integers(0, LAST)
    for p in draw(st.lists(st.sampled_from(("p", "q", "r")), min_size=1, unique=True)):
        pairs.append(
            pair_row(
                p,
                draw(st.sampled_from(("ada", "bea"))),
                construction=draw(st.sampled_from(CONSTRUCTIONS)),
                dress_code=draw(st.sampled_from(("formal", "casual", None))),
            )
        )
        edges = sorted(draw(st.lists(offset, max_size=3, unique=True)))
        last_on = draw(st.booleans())
        for n, begin in enumerate(edges):
            end = edges[n + 1] if n + 1 < len(edges) else None if last_on else LAST
            soles.append(
                sole_row(
                    p,
                    number=n + 1,
                    fitted_on=day(begin),
                    removed_on=pd.NaT if end is None else day(end),
                    material=draw(st.sampled_from(MATERIALS)),
                    nominal_thickness_mm=draw(st.sampled_from((0.0, 2.0, 5.0, 9.0))),
                    limit_mm=draw(st.sampled_from((None, 0.0, 2.0))),
                )
            )
        worn = draw(st.lists(offset, max_size=4, unique=True))
        more = {
            "hours": draw(st.sampled_from((None, 0.0, 8.0, 24.0))),
            "surface": draw(st.sampled_from(SURFACES)),
            "wet": draw(st.booleans()),
            "driving_minutes": draw(st.sampled_from((None, 0.0, 600.0))),
        }
        wear += wear_rows(p, worn, **more)
        seen = set()
        for at, foot, point in draw(
            st.lists(st.tuples(offset, st.sampled_from(FEET), st.sampled_from(POINTS)), max_size=4)
        ):
            felt = point != "waist" and draw(st.booleans())
            method = "thumb" if felt else draw(st.sampled_from(METHODS))
            if (at, foot, point, method) in seen:
                continue
            seen.add((at, foot, point, method))
            row = (
                grade(p, at, foot, draw(st.sampled_from(GRADES)))
                if felt
                else reading(p, at, foot, draw(st.sampled_from((0.0, 1.9, 4.0, 5.0, 12.0))), method)
            )
            checks.append(row | {"point": point})
        for work, received in draw(st.lists(st.tuples(st.sampled_from(WORKS), offset), max_size=2)):
            returned = draw(st.sampled_from((None, received, LAST)))
            jobs.append(job(work, received, returned, len(jobs) + 1) | {"pair_id": p})
    wearers = [{"wearer_id": w, "driving_foot": "left"} for w in ("ada", "cyd")]
    if draw(st.booleans()):
        wearers = []
    return frames_of(
        wearers=wearers, pairs=pairs, soles=soles, wear_days=wear, checks=checks, bench_jobs=jobs
    )
