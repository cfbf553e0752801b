"""Resole options.

Which way to a new sole is best for a pair: cost, weeks away, and is it back in time?

A route's time is the wait for a place plus the lead time, lognormal with the route's 50 % and 90 %
quantiles. All numbers of `DEFAULT_ROUTES` are common practice, no source: editable defaults.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from solespan.forecast.layers.carriers import WELTED, is_at_its_end
from solespan.forecast.planning.errors import BadPlan

__all__ = ["ABILITIES", "DEFAULT_ROUTES", "Need", "Route", "compare_routes", "needs_of"]

ABILITIES = ("leather_sole", "closed_channel", "shaped_heel_block", "rewelt", "original_last")
_Z90 = 1.2815515655446004
SAYS = {
    "leather_sole": "lays a leather sole",
    "closed_channel": "hides the stitch in a closed channel",
    "shaped_heel_block": "shapes a new heel block",
    "rewelt": "replaces the welt",
    "original_last": "works on the pair's own last",
}


@dataclass(frozen=True)
class Route:
    """One way to have a pair resoled.

    wait_days : days until there is a place, counted from the day of asking.
    lead_days_p50, lead_days_p90 : days from handing over to having it back, posting included.
    price_minor : a full sole and heel, posting included; minor units of `currency`.
    rewelt_price_minor : added when the welt is replaced.
    abilities : which of `ABILITIES` it can do.
    constructions : constructions it takes; empty = all.
    loses : what the owner gives up by it, in words.
    """

    route_id: str
    name: str
    wait_days: int
    lead_days_p50: int
    lead_days_p90: int
    price_minor: int
    currency: str = "EUR"
    rewelt_price_minor: int = 0
    abilities: tuple[str, ...] = ()
    constructions: tuple[str, ...] = ()
    loses: str = ""

    def __post_init__(self) -> None:
        """Refuse what cannot be meant, naming the field."""
        for name in ("wait_days", "price_minor", "rewelt_price_minor"):
            if getattr(self, name) < 0:
                raise BadPlan(f"{name} is negative.", field=name, accepted="0 or more")
        if not 1 <= self.lead_days_p50 <= self.lead_days_p90 <= 730:
            raise BadPlan(
                f"Lead times of {self.lead_days_p50} and {self.lead_days_p90} days.",
                field="lead_days_p90",
                accepted="1 <= lead_days_p50 <= lead_days_p90 <= 730",
            )
        unknown = set(self.abilities) - set(ABILITIES)
        if unknown:
            raise BadPlan(
                f"{min(unknown)!r} is no ability.",
                field="abilities",
                accepted=", ".join(ABILITIES),
            )

    def lead_days(self, share: float) -> int:
        """Quantile of the lead time, whole days."""
        return int(np.ceil(self.lead_days_p50 * np.exp(self._log_sd * float(ndtri(share))) - 1e-9))

    def chance_within(self, days: float) -> float:
        """Chance that the pair is back within so many days of handing over."""
        if days <= 0:
            return 0.0
        if self._log_sd == 0.0:
            return float(days >= self.lead_days_p50)
        return float(ndtr(np.log(days / self.lead_days_p50) / self._log_sd))

    @property
    def _log_sd(self) -> float:
        return float(np.log(self.lead_days_p90 / self.lead_days_p50)) / _Z90


DEFAULT_ROUTES = (
    Route(
        "local",
        "local bench",
        wait_days=3,
        lead_days_p50=10,
        lead_days_p90=21,
        price_minor=11_000,
        rewelt_price_minor=7_000,
        abilities=("leather_sole",),
        loses="open channel and a stock heel; the pair's own last is not used",
    ),
    Route(
        "specialist",
        "specialist by post",
        wait_days=14,
        lead_days_p50=28,
        lead_days_p90=49,
        price_minor=16_000,
        rewelt_price_minor=9_000,
        abilities=("leather_sole", "closed_channel", "shaped_heel_block", "rewelt"),
        loses="two journeys by post; the pair's own last is not used",
    ),
    Route(
        "maker",
        "maker abroad",
        wait_days=7,
        lead_days_p50=70,
        lead_days_p90=100,
        price_minor=19_000,
        rewelt_price_minor=0,
        abilities=ABILITIES,
        loses="a season on the shelf; makers limit how often they resole their own shoes",
    ),
)


@dataclass(frozen=True)
class Need:
    """What the work on one pair must be: abilities, and why each."""

    abilities: tuple[str, ...]
    reasons: tuple[str, ...]


def needs_of(
    *, material: str, channel: str | None, construction: str, seams: int, resoles_left: int = 1
) -> Need:
    """Say what work a pair's next sole needs.

    Parameters
    ----------
    material, channel : words of `forecast.frames.SOLES`, of the sole on it now.
    construction : word of `forecast.frames.CONSTRUCTIONS`.
    seams : int
        Outseams that its welt has had, the first included. A count only warns.
    resoles_left : int
        Soles that the shoe can usually still take; without one only a new welt helps.
    """
    wanted: list[tuple[str, str]] = []
    if "leather" in material:
        wanted.append(("leather_sole", "it has a leather sole"))
    if channel == "closed":
        wanted.append(("closed_channel", "its stitch lies in a closed channel"))
    if construction in WELTED and not resoles_left:
        wanted.append(("rewelt", "its welt allows no more soles"))
    elif construction in WELTED and is_at_its_end(construction, seams):
        wanted.append(("rewelt", f"after {seams} seams its stitch holes may have run together"))
    return Need(tuple(a for a, _ in wanted), tuple(r for _, r in wanted))


def compare_routes(
    routes: Sequence[Route],
    *,
    need: Need,
    construction: str,
    today: pd.Timestamp,
    send_by: pd.Timestamp | None,
    occasion: pd.Timestamp | None = None,
    chance: float = 0.90,
) -> pd.DataFrame:
    """Compare ways to a new sole for one pair.

    Parameters
    ----------
    routes : sequence of Route
    need : Need
        What the pair wants done.
    construction : str
        Of the pair.
    today : Timestamp
    send_by : Timestamp or None
        Last day at the risk level; None = beyond the horizon. The pair is handed over then, or as
        soon as there is a place when that is later.
    occasion : Timestamp, optional
        A day the pair is wanted back on the shelf for.
    chance : float
        How sure the owner wants to be of that.

    Returns
    -------
    DataFrame
        A row per route, the ones that can do the work and are cheapest first: route_id, name,
        can_do (flag), lacks (text), price_minor, currency, book_by, hand_over_on, back_on_p50,
        back_on_p90 (dates), weeks_away_p50, chance_back (probability, empty without an occasion),
        latest_send_on (last day to hand over for the occasion at `chance`; empty without one or
        when it is past), loses, sentence.

    Raises
    ------
    BadPlan
        No route; an occasion that is not ahead; a chance outside 0.5 to 0.99.
    """
    if not routes:
        raise BadPlan("There is no route to compare.", field="routes", accepted="one or more")
    if occasion is not None and occasion <= today:
        raise BadPlan(
            f"The occasion of {occasion.date()} is not ahead.",
            field="occasion",
            accepted=f"a day after {today.date()}",
        )
    if not 0.5 <= chance <= 0.99:
        raise BadPlan(
            f"A chance of {chance:g} cannot be asked for.", field="chance", accepted="0.5 to 0.99"
        )
    rows = [_row(r, need, construction, today, send_by, occasion, chance) for r in routes]
    frame = pd.DataFrame(rows).sort_values(
        ["can_do", "price_minor", "route_id"], ascending=[False, True, True], ignore_index=True
    )
    for column in ("book_by", "hand_over_on", "back_on_p50", "back_on_p90", "latest_send_on"):
        frame[column] = pd.to_datetime(frame[column]).astype("datetime64[s]")
    return frame


def _row(
    route: Route,
    need: Need,
    construction: str,
    today: pd.Timestamp,
    send_by: pd.Timestamp | None,
    occasion: pd.Timestamp | None,
    chance: float,
) -> dict[str, object]:
    lacking = [a for a in need.abilities if a not in route.abilities]
    taken = not route.constructions or construction in route.constructions
    lacks = [f"does not do what it needs: {SAYS[a]}" for a in lacking]
    if not taken:
        lacks.append(f"does not take {construction.replace('_', ' ')} shoes")
    first = today + pd.Timedelta(days=route.wait_days)
    hand_over = first if send_by is None else max(first, send_by)
    latest = None
    if occasion is not None:
        latest = occasion - pd.Timedelta(days=route.lead_days(chance))
        if latest >= first:
            hand_over = min(hand_over, latest) if hand_over < occasion else hand_over
        else:
            latest = None
    back = [hand_over + pd.Timedelta(days=route.lead_days(q)) for q in (0.5, 0.9)]
    rewelt = route.rewelt_price_minor if "rewelt" in need.abilities else 0
    back_chance = None if occasion is None else _chance_there(route, hand_over, occasion)
    return {
        "route_id": route.route_id,
        "name": route.name,
        "can_do": not lacks,
        "lacks": "; ".join(lacks),
        "price_minor": route.price_minor + rewelt,
        "currency": route.currency,
        "book_by": max(today, hand_over - pd.Timedelta(days=route.wait_days)),
        "hand_over_on": hand_over,
        "back_on_p50": back[0],
        "back_on_p90": back[1],
        "weeks_away_p50": round(route.lead_days(0.5) / 7.0, 1),
        "chance_back": back_chance,
        "latest_send_on": latest,
        "loses": route.loses,
        "sentence": _sentence(hand_over, back, occasion, back_chance, latest, send_by),
    }


def _chance_there(route: Route, hand_over: pd.Timestamp, occasion: pd.Timestamp) -> float:
    """A pair handed over after the occasion is on the shelf for it."""
    if hand_over > occasion:
        return 1.0
    return route.chance_within((occasion - hand_over).days)


def _sentence(
    hand_over: pd.Timestamp,
    back: list[pd.Timestamp],
    occasion: pd.Timestamp | None,
    chance: float | None,
    latest: pd.Timestamp | None,
    send_by: pd.Timestamp | None,
) -> str:
    said = (
        f"Handed over on {hand_over.date()} it is back around {back[0].date()}, and by "
        f"{back[1].date()} in nine of ten cases."
    )
    if send_by is not None and hand_over > send_by:
        said += (
            f" The first place comes after its send-by date, {send_by.date()}: look at the sole "
            "before each wear."
        )
    if occasion is None or chance is None:
        return said
    if hand_over > occasion:
        return f"{said} It is on the shelf on {occasion.date()}, before it goes."
    there = f" It is back for {occasion.date()} with a chance of {chance:.0%}"
    if latest is None:
        return f"{said}{there}; it is too late to be surer by this route."
    return f"{said}{there}; the last day to send it for that is {latest.date()}."
