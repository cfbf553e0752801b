"""Do forecast, quote, advice, routes and life read the same layers, over 1,000 random pairs?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.bench.findings import SOON_WEAR_DAYS, PairState, layers_of
from solespan.forecast.bench.minutes import JobMinutes, fit_minutes
from solespan.forecast.bench.quoting import needs_of, quote
from solespan.forecast.bench.standards import STANDARDS
from solespan.forecast.frames import CONSTRUCTIONS, COVERS, MATERIALS, WEARING_POINTS
from solespan.forecast.layers.carriers import admits, count_resoles, seams_of_carrier
from solespan.forecast.layers.limits import ball_limits_mm
from solespan.forecast.layers.own_limits import with_own_limits
from solespan.forecast.layers.rows import layers_on, rewelt_days, top_piece_mm
from solespan.forecast.layers.stack import logged_layers
from solespan.forecast.log import WearLog, wear_log
from solespan.forecast.panel.panel_of_log import build_panel
from solespan.forecast.planning import needs_of as needs_of_route
from solespan.forecast.planning.cost_of_ownership import cost_of_rack

PAIRS = 1000
AS_OF = pd.Timestamp("2026-11-23")
STATES = ("good", "worn", "broken", "missing", "wet", "not seen")
REPORTED = ("stitching", "welt", "heel_block", "toe", "shank", "cork", "uppers", "guard", "insole")
PRICES = {work: one.price_minor for work, one in STANDARDS.items()}


@pytest.fixture(scope="module")
def log() -> WearLog:
    """Random pairs: some on their ninth sole, some with a guard, some with a rewelt."""
    rng = np.random.default_rng(18)
    pairs, soles, jobs, checks, layers = [], [], [], [], []
    for i in range(PAIRS):
        pair = f"p{i:04d}"
        earlier = rng.choice([None, 0, 1, 3, 8])
        construction = str(rng.choice(CONSTRUCTIONS))
        pairs.append(
            {"pair_id": pair, "wearer_id": f"w{i}", "construction": construction,
             "earlier_resoles": earlier,
             "kind": rng.choice([None, "men", "women", "children", "boots"])}
        )  # fmt: skip
        day = AS_OF - pd.Timedelta(days=int(rng.integers(900, 1500)))
        for k in range(int(rng.integers(1, 4))):
            cover = rng.choice([None, *COVERS]) if k else rng.choice([None, "full"])
            guard = cover == "guard"
            new_mm = rng.uniform(1.2, 2.4) if guard else rng.uniform(3.2, 11)
            soles.append(
                {"pair_id": pair, "sole_id": f"{pair}-{k}", "fitted_on": day,
                 "material": "rubber" if guard else str(rng.choice(MATERIALS)),
                 "nominal_thickness_mm": round(float(new_mm), 2), "cover": cover,
                 "limit_mm": 0.9 if rng.random() < 0.1 else None}
            )  # fmt: skip
            if k and rng.random() < 0.2 and not guard:
                jobs.append(
                    {"job_id": f"j{i}-{k}", "pair_id": pair, "work": "rewelt", "received_on": day}
                )
            day += pd.Timedelta(days=int(rng.integers(100, 280)))
        layers += _layers(pair, day, np.random.default_rng(i))
        look = {"pair_id": pair, "checked_on": day, "foot": "left", "method": "caliper"}
        checks += [look | {"point": point, "value_mm": 4.0} for point in ("toe", "heel")]
    return wear_log(
        *(pd.DataFrame(rows) for rows in (pairs, soles)),
        checks=pd.DataFrame(checks),
        bench_jobs=pd.DataFrame(jobs),
        layers=pd.DataFrame(layers),
    )


def _layers(pair: str, day: pd.Timestamp, rng: np.random.Generator) -> Iterator[dict[str, Any]]:
    """Layers that half of the owners log; some were fitted with the newest sole, some before."""
    if rng.random() < 0.5:
        return
    logged = rng.choice(["midsole", "welt", "top_piece", "lifts", "insole"], 3, replace=False)
    for layer in logged:
        fitted = [None, day - pd.Timedelta(days=900), day - pd.Timedelta(days=1)]
        yield {
            "layer_id": f"{pair}-{layer}",
            "pair_id": pair,
            "layer": layer,
            "nominal_thickness_mm": None if layer == "welt" else float(rng.choice([3.0, 5.0, 9.0])),
            "limit_mm": float(rng.choice([1.0, 2.5])) if rng.random() < 0.2 else None,
            "earlier_seams": int(rng.integers(0, 4)) if layer == "welt" else None,
            "fitted_on": fitted[int(rng.integers(0, 3))],
        }


def states(log: WearLog) -> Iterator[tuple[dict[Any, Any], pd.DataFrame, PairState]]:
    rng = np.random.default_rng(81)
    of_pair = dict(tuple(log.soles.sort_values("fitted_on").groupby("pair_id")))
    rewelts = dict(tuple(log.bench_jobs.groupby("pair_id")))
    for pair in log.pairs.to_dict("records"):
        soles = of_pair[pair["pair_id"]]
        now = soles.iloc[-1]
        jobs = rewelts.get(pair["pair_id"], log.bench_jobs.iloc[:0])
        layers = layers_on(log.layers, pair["pair_id"])
        own = {
            "ball": None if pd.isna(now["limit_mm"]) else float(now["limit_mm"]),
            "heel": top_piece_mm(layers, now["fitted_on"], "limit_mm"),
        }
        first_on = soles["fitted_on"].min()
        welts = rewelt_days(log.layers, pair["pair_id"], jobs["received_on"], first_on)
        how = pair["construction"]
        yield (
            pair,
            soles,
            PairState(
                construction=pair["construction"],
                material=now["material"],
                thickness_mm={p: float(rng.uniform(0, 9)) for p in WEARING_POINTS},
                rate_mm_per_wear_day={p: float(rng.uniform(0.005, 0.05)) for p in WEARING_POINTS},
                limit_mm={point: mm for point, mm in own.items() if mm is not None},
                kind=pair["kind"],
                midsole=bool((layers["layer"] == "midsole").any()),
                heel_mm=top_piece_mm(layers, now["fitted_on"]),
                logged=logged_layers(layers, pair["kind"]),
                parts={p: str(rng.choice(STATES)) for p in REPORTED if rng.random() < 0.3},
                hole=bool(rng.random() < 0.05),
                cover=now["cover"],
                new_mm=float(now["nominal_thickness_mm"]),
                resoles=count_resoles(soles, pair["earlier_resoles"]),
                seams=seams_of_carrier(
                    soles, pair["earlier_resoles"], welts, construction=how, layers=layers
                ),
                rewelts=len(welts),
            ),
        )


def of_quote(pair: PairState, minutes: JobMinutes) -> Iterator[str]:
    """What a quote says against itself."""
    needs, ways = needs_of(pair), quote(pair, minutes, PRICES)
    due = pair.hole or any(pair.wear_days_left(p) <= SOON_WEAR_DAYS for p in WEARING_POINTS)
    if due and not needs.works:
        yield "quote against forecast: a point is due and nothing is needed"
    if not due and not pair.parts and needs.works:
        yield "quote against forecast: nothing is due and works are needed"
    if bool(needs.works) != bool(ways):
        yield "needs against ways: one is empty and the other is not"
    costs = [way.price_minor_per_wear_day for way in ways]
    if costs != sorted(costs):
        yield "ways against their order: a dearer wear day stands first"
    for way in ways:
        yield from (
            f"quote against construction: {why}"
            for work in way.works
            if (why := admits(work, pair.construction, pair.sole[0]))
        )
        if not 0 <= way.wear_days_low <= way.wear_days_bought <= way.wear_days_high:
            yield "quote against itself: wear days out of order"
        if way.soles_left > pair.soles_left + 2:
            yield "quote against life: a way brings more soles than a welt does"


@pytest.mark.slow
def test_no_two_readings_of_1000_pairs_contradict_each_other(log):
    panel = build_panel(log, AS_OF)
    at = {
        (panel.sole_ids[sole], point): mm
        for sole, point, mm in zip(panel.path_sole, panel.path_point, panel.limit_mm, strict=True)
    }
    asked = with_own_limits(log.soles, log.layers, log.checks)
    own = asked["limit_mm"].to_numpy(float)
    advice = dict(
        zip(
            log.soles["sole_id"],
            np.where(np.isnan(own), ball_limits_mm(asked), own),
            strict=True,
        )
    )
    unknown = pd.DataFrame(columns=["pair_id", "wear_days_per_week", "wear_days_new_mean"])
    life = cost_of_rack(log, unknown, {}).set_index("pair_id")["resoles_left"]
    minutes = fit_minutes(
        pd.DataFrame(
            [{"work": "guard", "construction": "blake", "bench_minutes": np.nan, "worker": None}]
        )
    )
    told: list[str] = []
    for pair, soles, state in states(log):
        pair_id, sole_id = pair["pair_id"], soles.iloc[-1]["sole_id"]
        found = list(of_quote(state, minutes))
        for code, point in enumerate(WEARING_POINTS):
            forecast_mm = at.get((sole_id, code))
            if forecast_mm is not None and forecast_mm != state.limit_at(point):
                found.append(f"forecast against quote: limit at the {point}")
        if advice[sole_id] != state.limit_at("ball"):
            found.append("advice whom to ask against quote: limit at the ball")
        ground = [x for x in layers_of(state) if x.part in ("outsole", "half sole", "guard")][-1]
        if ground.limit_mm != state.limit_at("ball"):
            found.append("layers against quote: limit of the ground")
        if life[pair_id] != state.soles_left:
            found.append("life against quote: soles left")
        route = needs_of_route(
            material=state.material, channel=None, construction=state.construction,
            seams=state.seams,
        )  # fmt: skip
        dead = {**vars(state), "hole": True, "parts": {}}
        worn = PairState(**dead)
        ways = {work for way in quote(worn, minutes, PRICES) for work in way.works}
        if "full_sole" in ways and ("rewelt" in route.abilities) != ("rewelt" in ways):
            found.append("routes against quote: whether the welt is renewed")
        told += [f"{pair_id} ({state.construction}, {state.material}): {one}" for one in found]
    assert not told, f"{len(told)} contradictions, such as:\n" + "\n".join(told[:10])
