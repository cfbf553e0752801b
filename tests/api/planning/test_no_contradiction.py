"""Do list, routes, cost and plan say the same of a pair, whatever is known of it?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
import pytest

from solespan.api.services.planning.pair_states import pair_states
from solespan.api.services.planning.rack import KnownRack
from solespan.api.services.planning.resole_options import routes_of_known
from solespan.dashboards.pages.rack.verdict import verdict
from solespan.forecast import ForecastSettings
from solespan.forecast.planning import Wishes, make_plan, state_of
from solespan.forecast.planning.cost_of_ownership import RESOLES_STOOD
from solespan.forecast.planning.resole_options import DEFAULT_ROUTES
from solespan.forecast.planning.verdict import URGENT
from tests.forecast.builders import log_of, pair_row, sole_row

TODAY = pd.Timestamp("2026-07-01")
PAIRS = 5
BANDS = ("sound", "watch", "book in", "stop wearing")
SENDS = ("send", "rewelt")
_VERBS = {"look": "Look", "send": "Send", "rewelt": "Send", "retire": "Retire"}


class DrawnRack(KnownRack):
    """A rack whose forecast is drawn, not fitted."""

    def allowance(self) -> pd.DataFrame:
        rng = np.random.default_rng(self.version)
        new = rng.integers(40, 120, PAIRS)
        return pd.DataFrame(
            {
                "pair_id": self.log.pairs["pair_id"],
                "wear_days_left": self.left,
                "wear_days_new": new,
                "wear_days_new_mean": new * 1.3,
                "wear_days_per_week": rng.uniform(0.2, 3, PAIRS),
            }
        )

    @property
    def left(self) -> np.ndarray:
        rng = np.random.default_rng(self.version)
        return np.where(rng.random(PAIRS) < 0.3, 0, rng.integers(1, 60, PAIRS))


def drawn(seed: int) -> tuple[DrawnRack, pd.DataFrame]:
    """Draw a rack and its forecast: constructions, resoles, prices, bands and dates."""
    rng = np.random.default_rng(seed)
    pairs = [
        pair_row(
            f"p{i}",
            construction=str(rng.choice(list(RESOLES_STOOD))),
            earlier_resoles=int(rng.integers(0, 9)),
            price_minor=float(rng.choice([np.nan, 8_000, 15_000, 45_000, 90_000])),
            currency=str(rng.choice(["EUR", "GBP"], p=[0.9, 0.1])),
        )
        for i in range(PAIRS)
    ]
    soles = [sole_row(f"p{i}") for i in range(PAIRS)]
    rack = DrawnRack(
        wearer_id="ada",
        wearer_pk=1,
        today=TODAY.date(),
        log=log_of({"pairs": pd.DataFrame(pairs), "soles": pd.DataFrame(soles)}),
        fit=None,
        settings=ForecastSettings(),
        traits={},
        routes={route.route_id: route for route in DEFAULT_ROUTES},
        edited=frozenset(),
        version=seed,
    )
    band = np.where(rack.left == 0, "stop wearing", rng.choice(BANDS[:3], PAIRS))
    days = np.where(band == "book in", rng.integers(0, 30, PAIRS), rng.integers(60, 900, PAIRS))
    days = np.where(band == "stop wearing", 0, days)
    forecast = pd.DataFrame(
        {
            "pair_id": [f"p{i}" for i in range(PAIRS)],
            "foot": "pair",
            "point": "ball",
            "band": band,
            "send_by": TODAY + pd.to_timedelta(days, unit="D"),
            "due_p10": TODAY + pd.to_timedelta(days, unit="D"),
            "wears_left_p10": 2.0,
            "wears_left_p90": rng.integers(3, 40, PAIRS).astype(float),
            "due_p90": TODAY + pd.to_timedelta(days + rng.integers(20, 400, PAIRS), unit="D"),
        }
    )
    return rack, forecast


def contradictions(rack: DrawnRack, forecast: pd.DataFrame) -> Iterator[str]:
    """Name every two that say different things of one pair, and what each says.

    A plan that sends a pair later than the list says, for the sake of a wish, names that.
    """
    life = rack.cost(allowance=rack.allowance(), forecast=forecast, life=rack.life)
    rows = life.set_index("pair_id").to_dict("index")
    states = {s.pair_id: s for s in pair_states(rack, forecast)}
    plan = make_plan(list(states.values()), Wishes(weeks=6, most_away=PAIRS), TODAY)
    sends = plan.sends.drop_duplicates("pair_id").set_index("pair_id")["send_on"].to_dict()
    named = {g.sentence.split()[0] for g in plan.given_up if g.kind == "late hand-over"}
    for row in forecast.to_dict("records"):
        pair = row["pair_id"]
        state = state_of(row)
        listed, cost = rack.verdict(pair, state), rows[pair]
        ways = routes_of_known(rack, pair, row["send_by"].date(), state)
        after, welt = listed.next_sole.word, any("welt" in n or "holes" in n for n in ways["needs"])
        said = (listed.word, after, listed.sentence)
        checks = {
            "cost": said == (cost["verdict"], cost["next_sole"], cost["sentence"]),
            "routes": said == (ways["verdict"], ways["next_sole"], ways["sentence"]),
            "needs of the routes": after == "retire" or (after == "rewelt") == welt,
            "price of the plan": states[pair].price_minor == listed.next_sole.price_minor,
            "words of the list": _of_list(row, listed.word) == _VERBS.get(listed.word),
            "plan": pair in named or _is_kept(listed.word, after, row["send_by"], sends.get(pair)),
        }
        for other, same in checks.items():
            if not same:
                yield f"{pair}: the list says {said} by {row['send_by'].date()}, not the {other}"


def _of_list(row: dict[str, Any], word: str) -> str | None:
    """Return the verb of the rack's list for a pair that is due now, None for another."""
    said = verdict(row, TODAY, 1826, word=word)
    return (
        said.split()[0] if row["band"] in URGENT and row["send_by"] <= TODAY else _VERBS.get(word)
    )


def _is_kept(word: str, after: str, send_by: pd.Timestamp, sent: pd.Timestamp | None) -> bool:
    """Whether the plan does as the list says: it sends others in time, and never one to retire."""
    if after == "retire":
        return sent is None
    return word not in SENDS or (sent is not None and sent <= send_by)


@pytest.mark.parametrize(
    "seeds",
    [range(12), pytest.param(range(12, 200), marks=pytest.mark.slow)],
    ids=["60 pairs", "1,000 pairs"],
)
def test_no_two_accounts_of_a_pair_contradict_each_other(seeds):
    found = [f"rack {seed}, {said}" for seed in seeds for said in contradictions(*drawn(seed))]
    assert not found, "\n".join(found)
