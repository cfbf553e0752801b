"""Do layers, their limits and the seam's carrier follow from material, cover and construction?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from solespan.forecast.bench.findings import PairState, layers_of
from solespan.forecast.bench.origins import all_defaults
from solespan.forecast.layers.limits import ball_limits_mm, default_limit_mm
from solespan.forecast.layers.thickness import is_guard, usual_thickness_mm
from solespan.forecast.log import wear_log
from solespan.forecast.panel.panel import SENT, STILL_ON
from solespan.forecast.panel.panel_of_log import build_panel

# common practice, no source: material, mm when new, cover, limit at the ball
LIMITS = [
    ("oak_bark_leather", 5.0, None, 2.0),
    ("oak_bark_leather", 6.4, "full", 2.0),
    ("veg_tan_leather", 3.5, None, 1.4),
    ("flexible_leather", 2.5, None, 1.2),
    ("rubber", 5.0, None, 1.5),
    ("rubber", 1.8, None, 0.4),
    ("rubber", 1.8, "guard", 0.4),
    ("rubber", 2.4, "full", 1.5),
    ("lug_rubber", 10.0, None, 7.0),
    ("lug_rubber", 5.0, None, 3.0),
    ("microcellular", 9.0, None, 3.0),
]


@pytest.mark.parametrize(("material", "new_mm", "cover", "limit_mm"), LIMITS)
def test_a_limit_follows_material_thickness_and_cover(material, new_mm, cover, limit_mm):
    assert default_limit_mm(material, "ball", new_mm, cover) == pytest.approx(limit_mm)
    one = {"material": [material], "nominal_thickness_mm": [new_mm], "cover": [cover]}
    assert ball_limits_mm(pd.DataFrame(one)) == pytest.approx([limit_mm])


def test_thin_rubber_without_a_word_is_a_guard_and_a_word_decides():
    assert is_guard("rubber", 1.8, None)
    assert not is_guard("rubber", 1.8, "half")
    assert not is_guard("veg_tan_leather", 1.8, None)


@pytest.mark.parametrize(
    ("kind", "construction", "new_mm", "toe_mm"),
    [
        (None, "goodyear_welted", 5.0, 2.0),
        ("men", "goodyear_welted", 5.0, 2.0),
        ("women", "goodyear_welted", 3.5, 1.4),
        ("children", "stitchdown", 3.5, 1.4),
        ("boots", "goodyear_welted", 6.0, 2.0),
        ("boots", "stitchdown", 6.4, 2.0),
    ],
)
def test_the_kind_of_a_pair_sets_thickness_and_limits(kind, construction, new_mm, toe_mm):
    assert usual_thickness_mm("veg_tan_leather", construction, kind) == new_mm
    limits = [default_limit_mm("veg_tan_leather", p, new_mm, None, kind) for p in ("ball", "toe")]
    assert limits == pytest.approx([min(2.0, 0.4 * new_mm), toe_mm])


def test_a_womens_sole_keeps_the_limit_of_its_quote_in_the_forecast_and_a_plain_one_its_own():
    sole = {
        "sole_id": "s",
        "fitted_on": "2026-01-01",
        "material": "flexible_leather",
        "nominal_thickness_mm": 3.5,
    }
    look = {"checked_on": "2026-02-01", "foot": "left", "method": "caliper", "value_mm": 3.2}
    plain = log_of([sole], [look | {"point": "toe"}])
    told = [
        build_panel(log, pd.Timestamp("2026-03-01")).limit_mm
        for log in (plain, replace(plain, pairs=plain.pairs.assign(kind="women")))
    ]
    quoted = [
        PairState(
            "goodyear_welted",
            "flexible_leather",
            {"toe": 3.2},
            {"toe": 0.01},
            new_mm=3.5,
            kind=kind,
        )
        for kind in (None, "women")
    ]
    assert [sorted(set(np.round(one, 6))) for one in told] == [[1.4, 2.0], [1.4]]
    assert [one.limit_at("toe") for one in quoted] == pytest.approx([2.0, 1.4])


def test_a_womens_sole_of_usual_thickness_is_not_due_after_fifteen_wears():
    pair = PairState("blake", "veg_tan_leather", {"ball": 3.2}, {"ball": 0.02}, kind="women")
    assert (pair.ground_mm, pair.is_due("ball")) == (3.5, False)
    layers = {one.part: one.new_mm for one in layers_of(pair)}
    assert (layers["outsole"], layers["insole"]) == (3.5, 3.5)


def test_lugs_worn_flat_are_due_whatever_the_base_is_and_lugs_left_are_not():
    """Low lugs: 5.5 mm of base and 2.5 mm of lugs, so grip is gone at 6.5 mm."""
    sole = {"sole_id": "s", "fitted_on": "2026-01-01", "material": "lug_rubber"}
    look = {"checked_on": "2026-02-01", "foot": "left", "method": "caliper", "point": "ball"}
    unit = [sole | {"nominal_thickness_mm": 8.0}]

    def limit_mm(**read: float) -> float:
        log = log_of(unit, [look | {"value_mm": 5.6, **read}])
        return float(build_panel(log, pd.Timestamp("2026-03-01")).limit_mm[0])

    assert limit_mm() == 5.0, "4 mm of lugs are assumed"
    assert limit_mm(lug_mm=0.1) == pytest.approx(6.5)
    worn = {"ball": 5.6}
    flat, plain = (
        PairState("goodyear_welted", "lug_rubber", worn, {"ball": 0.01}, new_mm=8.0, **more)
        for more in ({"lug_base_mm": 5.5}, {})
    )
    assert flat.limit_at("ball") == pytest.approx(limit_mm(lug_mm=0.1))
    assert (flat.is_due("ball"), plain.is_due("ball")) == (True, False)


def log_of(soles: list[dict], checks: list[dict] = ()):
    return wear_log(
        pairs=pd.DataFrame([{"pair_id": "p", "wearer_id": "w", "construction": "goodyear_welted"}]),
        soles=pd.DataFrame([{"pair_id": "p", **sole} for sole in soles]),
        checks=pd.DataFrame([{"pair_id": "p", **check} for check in checks]) if checks else None,
    )


LEATHER = {
    "sole_id": "a",
    "fitted_on": "2025-01-01",
    "material": "veg_tan_leather",
    "nominal_thickness_mm": 5.0,
}
GUARD = {
    "sole_id": "g",
    "fitted_on": "2025-06-01",
    "material": "rubber",
    "nominal_thickness_mm": 1.8,
}


def kinds_of(panel, sole_id: str) -> set[int]:
    own = panel.path_sole[panel.obs_path] == list(panel.sole_ids).index(sole_id)
    return set(panel.obs_kind[own].tolist())


def test_a_guard_does_not_say_that_the_sole_below_was_worn_out():
    panel = build_panel(log_of([LEATHER, GUARD]), pd.Timestamp("2026-01-01"))
    assert STILL_ON in kinds_of(panel, "a")
    assert SENT not in kinds_of(panel, "a")
    worn_out = {**GUARD, "nominal_thickness_mm": 5.0}
    panel = build_panel(log_of([LEATHER, worn_out]), pd.Timestamp("2026-01-01"))
    assert SENT in kinds_of(panel, "a")


def test_the_old_waist_beside_a_half_sole_is_no_reading_of_the_half_sole():
    def mm_of(value_mm: float, cover: str) -> list[float]:
        look = {"checked_on": "2025-03-01", "foot": "left", "point": "waist"}
        checks = [{**look, "method": "caliper", "value_mm": value_mm}]
        panel = build_panel(
            log_of([LEATHER | {"cover": cover}], checks), pd.Timestamp("2026-01-01")
        )
        return panel.obs_mm[~np.isnan(panel.obs_mm)].tolist()

    assert mm_of(2.6, "half") == []
    assert mm_of(4.8, "half") == [4.8]
    assert mm_of(2.6, "full") == [2.6]


def test_every_default_has_a_name_of_its_own_and_an_origin():
    rows = list(all_defaults())
    names = [(one.what, one.unit) for one in rows]
    assert len(names) == len(set(names))
    assert all(one.origin and one.unit and np.isfinite(one.value) for one in rows)
    values = {(one.what, one.unit): one.value for one in rows}
    assert values["new sole, lug rubber", "mm"] == 9.0
    assert values["minutes, rewelt, hand welted", "min"] == 480.0
    assert values["new soles after the first, goodyear welted", "soles"] == 5
