"""True parameters.

Which numbers is a simulated world made of, in which unit, and where does each come from?

"Derived" means arithmetic from other figures, "common practice" that no source is known. No
published wear rate of leather soles in mm per wear day was found, so the levels are wide guesses.
The boys' shoes of Box, Hunter and Hunter (Statistics for Experimenters, 1978) give a log SD of
0.243 between wearers and 0.026 within a pair. They are synthetic soles with no exposure recorded,
so they only make the default SDs plausible.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, fields, replace
from typing import Any

import numpy as np

from solespan.forecast.frames import CONDITIONS

__all__ = ["Truth", "described", "given", "varied"]


def given(default: Any, unit: str, source: str) -> Any:
    """A parameter with its unit and source beside it."""
    return field(default=default, metadata={"unit": unit, "source": source})


LEATHER_RATES = (
    ("oak_bark_leather", 0.70),
    ("veg_tan_leather", 1.00),
    ("flexible_leather", 1.15),
    ("rubber", 0.50),
    ("studded_rubber", 0.50),
)


# Conditions that have a process of their own here; all others are drawn by `condition_share`.
OWN_PROCESS = ("wet", "indoor", "rough")
OTHERS = tuple((c.name, c.multiplier) for c in CONDITIONS if c.name not in OWN_PROCESS)


@dataclass(frozen=True)
class Truth:
    """Every parameter of a simulated world; each field's metadata holds `unit` and `source`."""

    # how fast soles wear
    rate_mm: float = given(
        0.020, "mm per standard wear day", "ball, veg leather: derived, 0.005-0.06"
    )
    material_factors: tuple[tuple[str, float], ...] = given(
        LEATHER_RATES, "ratio to veg leather", "pit-tanned 0.6-0.8, rubber 0.5: common practice"
    )
    toe_factor: float = given(0.60, "ratio to ball", "common practice, no source")
    heel_rate_mm: float = given(
        0.022, "mm per standard wear day", "rubber top piece: common practice"
    )
    sd_wearer: float = given(0.38, "log", "prior 0.4-0.6; boys' shoes 0.243 with exposure mixed in")
    sd_asymmetry: float = given(0.07, "log(right/left) by wearer", "prior SD 0.06-0.08: derived")
    sd_pair: float = given(0.15, "log", "common practice, no source")
    sd_foot_of_pair: float = given(0.03, "log", "boys' shoes: 0.026 within a pair")
    sd_wearer_point: float = given(0.10, "log, toe and heel only", "common practice, no source")
    rate_family: str = given(
        "lognormal", "lognormal or gamma", "log scale in field studies of 2019"
    )
    sd_rate_week: float = given(0.0, "log per week, by wearer", "invented: rates stand still")
    rate_jump_share: float = given(0.0, "share of wearers whose rate jumps", "invented: none")
    rate_jump_days: int = given(150, "days before the log's end", "invented")
    rate_jump_log: float = given(0.916, "log, size of the jump: 2.5 times", "invented")
    driving_ball: float = given(0.05, "log, driving foot", "prior Normal(0.05, 0.08): derived")
    driving_toe: float = given(0.0, "log, driving foot", "no source")
    driving_heel: float = given(
        0.12, "log, driving foot", "prior Normal(0.12, 0.12): common practice"
    )
    driving_per_hour: float = given(0.08, "share more per hour at the wheel", "no source")
    step_mm: float = given(0.004, "mm; variance of wear / wear", "no source: SD 0.11 mm after 3 mm")
    packing_low_mm: float = given(0.1, "mm, leather only", "common practice: 0.1-0.4")
    packing_high_mm: float = given(0.4, "mm, leather only", "common practice: 0.1-0.4")
    packing_wear_days: float = given(6.0, "standard wear days", "first 5-10 days: common practice")
    sd_start_sole_mm: float = given(0.16, "mm, shared by both feet", "about 0.2 in all")
    sd_start_foot_mm: float = given(0.12, "mm, per foot", "about 0.2 in all")
    # what a day counts
    wet_factor: float = given(1.7, "ratio to dry", "common practice: 1.3-3, median 1.7")
    indoor_factor: float = given(0.5, "ratio to pavement", "common practice, no source")
    rough_factor: float = given(1.5, "ratio to pavement", "common practice, no source")
    other_factors: tuple[tuple[str, float], ...] = given(
        OTHERS, "ratio to a day without the condition", "the median of the condition's prior"
    )
    condition_share: float = given(0.25, "share of wear days, each other condition", "invented")
    sd_hours: float = given(0.20, "log, day to day", "no source")
    sd_usual_hours: float = given(0.08, "log, between wearers", "no source")
    steps_per_wear_day: float = given(8000.0, "steps in 8 h", "tracker median 8,199 on active days")
    sd_steps: float = given(0.12, "log, steps round the hours", "no source")
    # limits and new thickness
    toe_limit_mm: float = given(2.0, "mm", "common practice, no source")
    heel_limit_mm: float = given(2.0, "mm left of the top piece", "common practice, no source")
    top_piece_mm: float = given(6.0, "mm, new", "common practice: 5-8")
    # how pairs are used
    pair_counts: tuple[float, ...] = given(
        (16, 20, 18, 14, 10, 7, 5, 4, 2, 2, 1, 1), "weight of owning 1, 2, ... pairs", "invented"
    )
    wear_days_per_week: float = given(3.4, "wear days per week, owner of one pair", "invented")
    sd_wear_days: float = given(0.25, "log, between wearers", "invented")
    sd_share: float = given(0.45, "log, a pair's share of the rack", "invented")
    season: float = given(0.6, "log, half swing of casual and outdoor pairs", "invented")
    sd_drift_week: float = given(0.035, "log per week, share and total", "invented")
    sd_streak: float = given(0.6, "log, a pair's favour in a week", "invented")
    sd_week: float = given(0.25, "log, a wearer's week", "invented")
    holidays_per_year: float = given(2.5, "spells of 4-14 days", "invented")
    sd_own_season: float = given(0.0, "log, cosine and sine of a pair's own year", "invented")
    trips_per_year: float = given(0.0, "absences in which none of the pairs is worn", "invented")
    trip_days: tuple[float, float] = given((28.0, 70.0), "days", "invented")
    habit_changes_per_year: float = given(0.0, "per pair", "invented")
    sd_habit_change: float = given(0.9, "log, a pair's share after a change", "invented")
    keeps_rest_share: float = given(
        0.85, "share of owners of 3 and more", "rest of a day: shoe care"
    )
    driver_share: float = given(0.55, "share of wearers", "invented")
    driving_left_share: float = given(0.6, "share of drivers", "pivot foot: trade's experience")
    # who looks, and how well
    checker_shares: tuple[float, ...] = given(
        (0.35, 0.20, 0.30, 0.15), "gauge, gauge and thumb, thumb, hardly ever", "invented"
    )
    check_days: tuple[float, ...] = given(
        (110.0, 110.0, 80.0, 400.0), "days between checks", "invented"
    )
    fitting_check_share: float = given(
        0.4, "share of soles read when new, with a gauge", "invented"
    )
    sd_caliper_mm: float = given(0.18, "mm", "common practice: 0.1-0.3")
    sd_gauge_mm: float = given(0.07, "mm, depth gauge and ultrasonic", "common practice: under 0.1")
    sd_gauge_bias_mm: float = given(0.06, "mm, by wearer", "invented")
    slip_share: float = given(0.01, "share of readings", "invented")
    grade_cuts_mm: tuple[float, float] = given(
        (3.4, 2.6), "mm where firm, give end", "soft above the limit: common practice"
    )
    sd_grade_mm: float = given(0.30, "mm, press to press", "invented")
    sd_thumb_shift_mm: float = given(0.20, "mm, by wearer", "invented")
    # what is written down
    forgotten_mean: float = given(0.12, "share of wear days", "invented")
    forgotten_strength: float = given(12.0, "beta's a + b", "invented")
    silences_per_year: float = given(0.15, "per wearer", "invented")
    silence_days: tuple[float, float] = given((30.0, 120.0), "days", "invented")
    hours_style_shares: tuple[float, ...] = given(
        (0.45, 0.35, 0.20), "leaves hours empty, gives hours, gives steps", "invented"
    )
    notes_ground_share: float = given(0.85, "share of wearers who note wet and surface", "invented")
    # the bench
    late_share: float = given(0.3, "share of wearers who come past the limit", "invented")
    lead_days: float = given(14.0, "days, median", "local bench 1-2 weeks: common practice")
    top_piece_days: float = given(5.0, "days, median", "common practice, no source")
    newcomer_share: float = given(
        0.35, "share of wearers who join after the log's start", "invented"
    )


def varied(truth: Truth, rng: np.random.Generator) -> Truth:
    """Move the levels and SDs that a forecaster must learn, so that worlds differ.

    Keeps everything else, such as the shares of checkers, as it was given.
    """
    return replace(
        truth,
        rate_mm=truth.rate_mm * rng.lognormal(0.0, 0.15),
        heel_rate_mm=truth.heel_rate_mm * rng.lognormal(0.0, 0.15),
        toe_factor=truth.toe_factor * rng.lognormal(0.0, 0.12),
        material_factors=tuple(
            (name, f if name == "veg_tan_leather" else f * rng.lognormal(0.0, 0.10))
            for name, f in truth.material_factors
        ),
        sd_wearer=truth.sd_wearer * rng.uniform(0.7, 1.3),
        sd_pair=truth.sd_pair * rng.uniform(0.7, 1.3),
        sd_asymmetry=truth.sd_asymmetry * rng.uniform(0.6, 1.4),
        sd_foot_of_pair=truth.sd_foot_of_pair * rng.uniform(0.7, 1.5),
        driving_ball=truth.driving_ball + rng.normal(0.0, 0.04),
        driving_heel=truth.driving_heel + rng.normal(0.0, 0.06),
        wet_factor=float(np.clip(truth.wet_factor * rng.lognormal(0.0, 0.25), 1.3, 3.0)),
        indoor_factor=truth.indoor_factor * rng.lognormal(0.0, 0.15),
        rough_factor=truth.rough_factor * rng.lognormal(0.0, 0.12),
        other_factors=tuple((n, f * rng.lognormal(0.0, 0.15)) for n, f in truth.other_factors),
        step_mm=truth.step_mm * rng.lognormal(0.0, 0.3),
        sd_caliper_mm=rng.uniform(0.12, 0.26),
        sd_gauge_mm=rng.uniform(0.05, 0.09),
        grade_cuts_mm=(rng.uniform(3.2, 3.7), rng.uniform(2.4, 2.8)),
        steps_per_wear_day=truth.steps_per_wear_day * rng.lognormal(0.0, 0.12),
        sd_streak=truth.sd_streak * rng.uniform(0.7, 1.3),
        sd_drift_week=truth.sd_drift_week * rng.uniform(0.6, 1.4),
    )


def described(truth: Truth) -> dict[str, dict[str, Any]]:
    """Each parameter's value, unit and source as plain JSON values."""
    values = asdict(truth)
    return {f.name: {"value": values[f.name], **f.metadata} for f in fields(truth)}
