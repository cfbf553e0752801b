"""Solo owners: is a forecast honest where one owner's small rack is all that there is?

Each owner has one to six pairs, logs them for three years and looks at them by thumb alone or by
gauge alone. Every rack is fitted by itself. The thumb's cut points lie at the prior's, at a fixed
distance from them, or are drawn from what the prior says. All else is drawn as in the world
`score_world`, whose parameters the model does not know.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from solespan.forecast import ForecastSettings, WearLog, WearModel, forecast, wear_log
from solespan.forecast.backtesting.scores import crps_sample
from solespan.forecast.dates.due import due_sample
from solespan.forecast.observation.thumb import ThumbScale
from solespan.forecast.priors import POPULATION_SD, SPREADS
from solespan.synthetic_data.simulate import Simulated, simulate
from solespan.synthetic_data.truth import Truth, varied
from tests.recovery.pooled import Share, ratio

__all__ = ["OWNERS_LOOK", "SoloFigures", "figures_of", "score_many", "score_solo", "solo_world"]

AS_OF = "2026-11-23"
HORIZON_DAYS = 1826
MOST_PAIRS = 6
OWNERS = 12
THUMB, GAUGE = (0.0, 0.0, 1.0, 0.0), (1.0, 0.0, 0.0, 0.0)
# How owners look: with a gauge, or by a thumb whose cut points lie so many mm off the prior's. For
# "drawn" each owner's are drawn from the prior.
GAUGED = "gauge"
OWNERS_LOOK: dict[str, float | None] = {
    "cuts as the prior's": 0.0,
    "cuts 0.3 mm above": 0.3,
    "cuts 0.3 mm below": -0.3,
    "cuts drawn": None,
    GAUGED: 0.0,
}


@dataclass(frozen=True)
class SoloFigures:
    """Shares over many racks, with errors by rack, and the mean score in days."""

    past_limit: Share
    held_80: Share
    held_50: Share
    crps: float
    racks: int


def cut_shift_sd_mm() -> float:
    """SD of one owner's cut points in the prior, mm."""
    return float(np.hypot(POPULATION_SD["thumb_shift_mm"][1], SPREADS["thumb"].median))


def solo_world(seed: int, cuts_mm: float | None = 0.0, *, gauge: bool = False) -> Simulated:
    """Draw some owners; `cuts_mm` is how far their cut points lie off the prior's."""
    rng = np.random.default_rng([seed, 77])
    scale, shift = ThumbScale(), 0.0 if cuts_mm is None else cuts_mm
    pairs = OWNERS * (MOST_PAIRS + 1) // 2
    truth = replace(
        varied(Truth(), rng),
        pair_counts=(1.0,) * MOST_PAIRS,
        checker_shares=GAUGE if gauge else THUMB,
        grade_cuts_mm=(scale.firm_from_mm + shift, scale.give_from_mm + shift),
        sd_thumb_shift_mm=cut_shift_sd_mm() if cuts_mm is None else 0.0,
    )
    return simulate(truth, rng, n_pairs=pairs, as_of=AS_OF, horizon_days=HORIZON_DAYS)


def score_solo(drawn: Simulated, seed: int) -> pd.DataFrame:
    """Fit every owner of a world by itself, and set what happens beside it: one row a pair."""
    log = wear_log(**drawn.frames)
    owners = np.unique(log.pairs["wearer_id"])
    return pd.concat([_alone(drawn, log.of_wearers([o]), f"{seed}-{o}") for o in owners])


def _alone(drawn: Simulated, log: WearLog, rack: str) -> pd.DataFrame:
    as_of = drawn.as_of
    fit = WearModel(log, as_of).fit()
    said = forecast(fit, log, as_of, ForecastSettings(horizon_days=HORIZON_DAYS))
    said = said[(said["foot"] == "pair") & (said["point"] == "ball")].set_index("pair_id")
    draws = due_sample(fit, log, as_of, HORIZON_DAYS)
    due = drawn.hidden_due
    due = due[(due["foot"] == "pair") & (due["point"] == "ball")].set_index("pair_id")
    days = (due["due_on"].loc[draws.index] - as_of).dt.days
    actual = days.fillna(HORIZON_DAYS).clip(upper=HORIZON_DAYS).to_numpy(float)
    quantiles = {f"p{q}": np.quantile(draws, q / 100, axis=1) for q in (10, 25, 50, 75, 90)}
    return pd.DataFrame(
        {
            "rack": rack,
            "pair_id": draws.index,
            "actual": actual,
            **quantiles,
            "send_by": (said.loc[draws.index, "send_by"] - as_of).dt.days.to_numpy(float),
            "crps": crps_sample(draws.to_numpy(), actual),
        }
    )


def figures_of(rows: pd.DataFrame) -> SoloFigures:
    """What the rows of many racks say together.

    `past_limit` is of pairs whose send-by date lies ahead and within the horizon, `held` of pairs
    that are due after today and within it.
    """
    sent = rows[(rows["send_by"] > 0) & (rows["send_by"] < HORIZON_DAYS)]
    due = rows[(rows["actual"] > 0) & (rows["actual"] < HORIZON_DAYS)]

    def held(low: str, high: str) -> Share:
        inside = due["actual"].between(due[low], due[high]).astype(float)
        return ratio(inside, 1.0, due["rack"])

    past = (sent["actual"] <= sent["send_by"]).astype(float)
    alive = rows[rows["actual"] > 0]
    return SoloFigures(
        ratio(past, 1.0, sent["rack"]),
        held("p10", "p90"),
        held("p25", "p75"),
        float(alive["crps"].mean()),
        rows["rack"].nunique(),
    )


def score_many(look: str, seeds: Iterable[int]) -> pd.DataFrame:
    """Score the owners of one world a seed, who look as a name of `OWNERS_LOOK` says."""
    cuts_mm = OWNERS_LOOK[look]
    parts = [score_solo(solo_world(s, cuts_mm, gauge=look == GAUGED), s) for s in seeds]
    return pd.concat(parts, ignore_index=True)
