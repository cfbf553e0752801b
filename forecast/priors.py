"""Priors: what is believed about soles before any of the user's data has been seen?

No published figure in mm per wear day for leather soles is known. Every median below is common
practice, no source, and its spread is wide on purpose. The left-right spread is that of the boys'
shoes data (Box, Hunter and Hunter, Statistics for Experimenters, 1978): log SD 0.026 within a pair.
All rates are in mm per standard wear day (8 hours on dry pavement).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from math import log

__all__ = [
    "ASSUMED_SPREAD",
    "DRIFTS",
    "LEATHERS",
    "MATERIAL_RATE",
    "METHOD_SD_MM",
    "PACKING_DAYS",
    "POPULATION_SD",
    "SPREADS",
    "UNLOGGED_SPREADS",
    "UNLOGGED_WEAR_DAYS_PER_DAY",
    "USUAL_LIMIT_MM",
    "Priors",
    "Spread",
]

# Median wear rate at the ball, mm per standard wear day. Leather: about 3 mm usable over 100-300
# wear days; rubber about half of leather. Common practice, no source.
MATERIAL_RATE: dict[str, float] = {
    "oak_bark_leather": 0.015,
    "veg_tan_leather": 0.020,
    "flexible_leather": 0.024,
    "rubber": 0.010,
    "studded_rubber": 0.010,
    "lug_rubber": 0.011,
    "crepe": 0.015,
    "microcellular": 0.018,
}
LEVEL_LOG_SD = 0.35  # all materials together
MATERIAL_LOG_SD = 0.30  # each material about that

HEEL_START_SD_MM = 0.6

STEPS_PER_STANDARD_WEAR_DAY = 7000.0

LEATHERS = ("oak_bark_leather", "veg_tan_leather", "flexible_leather")
PACKING_DAYS = 6.0  # leather packs down in the first days; rubber and top pieces do not
PACKING_MEAN_MM, PACKING_MEAN_SD_MM = 0.22, 0.06

# Fixed effects other than material: name -> (mean, SD), on the log rate unless the name says mm.
POPULATION_SD: dict[str, tuple[float, float]] = {
    "level": (0.0, LEVEL_LOG_SD),
    "toe": (-0.2, 0.5),
    "heel": (log(0.020), 0.6),
    "drive_ball": (0.04, 0.08),
    "drive_toe": (0.0, 0.08),
    "drive_heel": (0.08, 0.12),
    "start_mm": (0.0, 0.05),
    "packing_mm": (PACKING_MEAN_MM, PACKING_MEAN_SD_MM),
    "thumb_shift_mm": (0.0, 0.20),
    # mm that the thumb's cut points move per mm of limit: 0 it feels thickness, 1 what is to spare
    "thumb_limit": (0.5, 0.5),
    "trend": (0.0, 0.3),  # of all log rates in a year, where rates wander
    "sending_mm": (0.0, 0.4),  # thickness above the limit at which soles come off
    "gap_share": (0.5, 0.25),  # of habit, worn in a silent stretch within a log
    # log of the wear days of a pair whose owner does not log, over one a week
    "pace": (0.0, 0.7),
    "pace_formal": (-0.3, 0.35),
    "pace_business": (0.15, 0.35),
    "pace_casual": (0.1, 0.35),
    "pace_outdoor": (-0.1, 0.35),
}
# of an assumed sole's own start and rate over a known sole's; common practice, no source
ASSUMED_SPREAD = 4.0
UNLOGGED_WEAR_DAYS_PER_DAY = 1.0 / 7.0  # at which `pace` is 0; common practice, no source
USUAL_LIMIT_MM = 2.0  # of leather: where thumb_limit makes no difference

# Reading error of one reading, SD in mm, by method.
METHOD_SD_MM: dict[str, float] = {"caliper": 0.18, "depth_gauge": 0.08, "ultrasonic": 0.06}


class Spread:
    """A standard deviation to be learnt: its prior median and the SD of its log."""

    def __init__(self, median: float, log_sd: float, meaning: str) -> None:
        self.median = median
        self.log_sd = log_sd
        self.meaning = meaning


# Spreads of the random effects, in the order in which the model keeps them.
SPREADS: dict[str, Spread] = {
    "start": Spread(0.12, 0.4, "one shoe's start round its sole's, mm"),
    "packing": Spread(0.07, 0.4, "packing from shoe to shoe, mm"),
    "shoe": Spread(0.04, 0.7, "one shoe of one sole, log rate"),
    "shoe_other": Spread(0.20, 0.5, "one shoe at toe or heel, log rate"),
    "sole_start": Spread(0.12, 0.5, "a sole's start round its nominal thickness, mm"),
    "sole": Spread(0.05, 0.7, "sole (its piece of leather), log rate"),
    "pair": Spread(0.20, 0.5, "pair, log rate"),
    "pair_foot": Spread(0.05, 0.7, "right minus left of a pair, log rate"),
    "gap": Spread(0.30, 0.4, "share of habit that a pair is worn in silent stretches"),
    "wearer": Spread(0.35, 0.4, "wearer, log rate"),
    "wearer_foot": Spread(0.07, 0.5, "right minus left of a wearer, log rate"),
    "wearer_point": Spread(0.25, 0.5, "wearer's own toe or heel, log rate"),
    "gauge": Spread(0.06, 0.6, "bias of a wearer's gauge, mm"),
    "thumb": Spread(0.15, 0.5, "a wearer's thumb against the others', mm"),
    "sole_pace": Spread(0.15, 0.4, "pace from sole to sole where nothing is logged, log"),
    "pace": Spread(0.40, 0.4, "pair's pace where nothing is logged, log"),
    "wearer_pace": Spread(0.40, 0.4, "wearer's pace where nothing is logged, log"),
    "sender": Spread(0.40, 0.3, "a wearer's own thickness at which soles come off, mm"),
    "wearer_drift": Spread(0.15, 0.7, "by which a wearer's log rate wanders in a year; 0: not"),
    "pair_drift": Spread(0.10, 0.7, "by which a pair's log rate wanders in a year; 0: not"),
    "wearer_trend": Spread(0.30, 0.7, "trend in a year of a wearer's log rate; 0: none"),
    "pair_trend": Spread(0.15, 0.7, "trend in a year of a pair's log rate; 0: none"),
}
DRIFTS = ("wearer_drift", "pair_drift", "wearer_trend", "pair_trend")
UNLOGGED_SPREADS = ("sole_pace", "pace", "wearer_pace", "sender")


@dataclass(frozen=True)
class Priors:
    """What a fit believes of spreads and noise; an SD of 0 holds one where the fit starts.

    spreads : by the names of `SPREADS`.
    gauge_log_sd, process_log_sd : SD of the log of each gauge's error and of the process noise.
    """

    spreads: dict[str, Spread] = field(default_factory=lambda: SPREADS)
    gauge_log_sd: float = 0.4
    process_log_sd: float = 0.7

    @property
    def free(self) -> list[str]:
        """Names of the spreads that are not held."""
        return [name for name, spread in self.spreads.items() if spread.log_sd > 0.0]

    def holding(self, free: Collection[str], held_at: Mapping[str, float]) -> Priors:
        """The same with only some spreads free, and the others held."""
        spreads = {
            name: s if name in free else Spread(held_at.get(name, s.median), 0.0, s.meaning)
            for name, s in self.spreads.items()
        }
        return replace(self, spreads=spreads)
