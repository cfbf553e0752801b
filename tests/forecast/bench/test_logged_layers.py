"""Do layers that somebody logged reach limits, heels, toes and the count of seams?

Numbers are common practice, no source.
"""

from __future__ import annotations

import pickle
from typing import Any

import pandas as pd
import pytest

from solespan.forecast.frames import POINTS, WEARING_POINTS
from solespan.forecast.layers.carriers import seams_of_carrier
from solespan.forecast.layers.limits import default_limit_mm
from solespan.forecast.layers.own_limits import with_own_limits
from solespan.forecast.layers.rows import layers_on, rewelt_days
from solespan.forecast.layers.stack import default_stack, logged_layers
from solespan.forecast.log import WearLog, wear_log
from solespan.forecast.panel.panel import Panel
from solespan.forecast.panel.panel_of_log import build_panel
from tests.forecast.builders import TODAY, pair_row, sole_row

EARLY, LATE = "2024-01-01", "2026-03-01"


def layer(part: str, **more: Any) -> dict[str, Any]:
    return {"layer_id": f"a-{part}", "pair_id": "a", "layer": part} | more


def log_with(*layers: dict[str, Any], kind: str | None = None, **sole: Any) -> WearLog:
    looks = [
        {"pair_id": "a", "checked_on": "2026-06-01", "foot": "left", "point": point,
         "method": "caliper", "value_mm": 4.0}
        for point in POINTS
    ]  # fmt: skip
    return wear_log(
        pd.DataFrame([pair_row("a", kind=kind)]),
        pd.DataFrame([sole_row("a", limit_mm=None, **sole)]),
        checks=pd.DataFrame(looks),
        layers=pd.DataFrame(layers) if layers else None,
    )


def limits(panel: Panel) -> dict[str, float]:
    return {
        WEARING_POINTS[p]: float(mm) for p, mm in zip(panel.path_point, panel.limit_mm, strict=True)
    }


def test_layers_that_nobody_reads_leave_a_pair_as_it_was_to_the_last_bit():
    plain = build_panel(log_with(), TODAY)
    told = build_panel(log_with(layer("shank", material="steel"), layer("insole")), TODAY)
    assert pickle.dumps(vars(told)) == pickle.dumps(vars(plain))


def test_leather_over_a_logged_midsole_is_due_at_one_and_a_half_millimetres():
    log = log_with(layer("midsole", material="leather"))
    assert limits(build_panel(log, TODAY))["ball"] == 1.5
    assert with_own_limits(log.soles, log.layers, log.checks)["limit_mm"].tolist() == [1.5]
    gone = log_with(layer("midsole", fitted_on=EARLY, removed_on="2024-06-01"))
    assert limits(build_panel(gone, TODAY))["ball"] == 2.0


def test_a_limit_that_the_owner_set_stands_over_a_midsole_too():
    log = log_with(layer("midsole"))
    own = log.soles.assign(limit_mm=1.8)
    assert with_own_limits(own, log.layers, log.checks)["limit_mm"].tolist() == [1.8]


@pytest.mark.parametrize(
    ("kind", "new_mm", "limit_mm"),
    [(None, 6.0, 2.0), ("men", 6.0, 2.0), ("women", 4.5, 2.0), ("children", 4.5, 2.0),
     ("boots", 8.0, 2.0)],
)  # fmt: skip
def test_a_top_piece_is_as_thick_as_its_kind_and_its_limit_follows(kind, new_mm, limit_mm):
    panel = build_panel(log_with(kind=kind), TODAY)
    heel = panel.path_point == WEARING_POINTS.index("heel")
    assert set(panel.nominal_mm[heel]) == {new_mm}
    assert set(panel.limit_mm[heel]) == {limit_mm}
    assert default_limit_mm("rubber", "heel", 5.0, None, kind) == limit_mm


def test_a_logged_top_piece_begins_the_heel_anew_at_its_own_thickness():
    log = log_with(layer("top_piece", nominal_thickness_mm=9.0, limit_mm=3.0, fitted_on=LATE))
    panel = build_panel(log, TODAY)
    heel = panel.path_point == WEARING_POINTS.index("heel")
    assert set(panel.nominal_mm[heel]) == {9.0}
    assert set(panel.limit_mm[heel]) == {3.0}
    assert (panel.path_begin[heel] >= 0).all()
    earlier = log_with(layer("top_piece", nominal_thickness_mm=9.0, fitted_on=EARLY))
    heel_mm = build_panel(earlier, TODAY).nominal_mm[heel]
    assert set(heel_mm) == {6.0}, "the sole fitted later brought its own"


def test_a_toe_plate_takes_the_wear_of_the_toe():
    assert "toe" in limits(build_panel(log_with(), TODAY))
    assert "toe" not in limits(build_panel(log_with(layer("toe_plate")), TODAY))


def test_seams_that_a_welt_had_before_count_with_those_here_until_it_is_renewed():
    soles = pd.DataFrame([sole_row("a"), sole_row("a", number=2)]).assign(
        fitted_on=pd.to_datetime(["2023-01-01", "2025-01-01"]), cover=None, continues=None
    )
    none = pd.Series([], dtype="datetime64[s]")
    log = log_with(layer("welt", earlier_seams=2))
    own = layers_on(log.layers, "a")
    how = {"construction": "goodyear_welted", "layers": own}
    assert seams_of_carrier(soles, None, none) == 2
    assert seams_of_carrier(soles, None, none, **how) == 4
    rewelt = pd.Series(pd.to_datetime(["2024-12-01"]))
    assert seams_of_carrier(soles, None, rewelt, **how) == 1, "the row is of the first welt"


def test_a_welt_logged_after_the_first_sole_is_a_rewelt_once():
    log = log_with(layer("welt", fitted_on=LATE))
    first = pd.Timestamp("2024-01-01")
    none = pd.Series([], dtype="datetime64[s]")
    assert len(rewelt_days(log.layers, "a", none, first)) == 1
    job = pd.Series(pd.to_datetime(["2026-02-20"]))
    assert len(rewelt_days(log.layers, "a", job, first)) == 1
    assert len(rewelt_days(log.layers, "a", none, pd.Timestamp(LATE))) == 0


def test_the_stack_shows_what_was_logged_in_the_place_of_the_default():
    log = log_with(
        layer("shank", material="wood", nominal_thickness_mm=3.5),
        layer("lifts", material="leather", nominal_thickness_mm=25.0, thickness_mm=24.0),
        layer("toe_plate", material="steel", nominal_thickness_mm=2.5),
    )
    own = logged_layers(layers_on(log.layers, "a"))
    stack = default_stack("goodyear_welted", "veg_tan_leather", logged=own)
    plain = default_stack("goodyear_welted", "veg_tan_leather")
    parts = [one.part for one in stack]
    assert sorted(parts) == sorted([*(one.part for one in plain), "toe_plate"])
    assert parts.index("insole") < parts.index("outsole") < parts.index("lifts")
    by_part = {one.part: one for one in stack}
    assert by_part["shank"].material == "wood"
    assert (by_part["lifts"].new_mm, by_part["lifts"].now_mm) == (25.0, 24.0)


def test_a_top_piece_too_thin_for_the_usual_limit_may_wear_to_half():
    limits = [default_limit_mm("rubber", "heel", 5.0, None, heel_mm=mm) for mm in (3.0, 4.0, 7.0)]
    assert limits == [1.5, 2.0, 2.0]
