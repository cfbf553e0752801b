"""Rack service: what does planning need to know of one wearer's rack, and how is a mistake told?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field, fields
from datetime import date
from functools import cached_property
from typing import Any

import pandas as pd
from sqlalchemy.orm import Session

from solespan.api.errors import NothingForecast, Refused
from solespan.api.schemas.planning.resole_options import LifeSettingsAsked
from solespan.api.services.context import AppContext
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.bench.waits import Promises, promises_in
from solespan.api.storage.planning import planning as stored
from solespan.api.storage.rack.frames import load_frames
from solespan.api.storage.shop_settings import known_settings
from solespan.forecast import ForecastSettings, WearFit
from solespan.forecast.errors import TooLittleData
from solespan.forecast.layers.carriers import seams_of_carrier
from solespan.forecast.layers.rows import layers_on, rewelt_days
from solespan.forecast.log import WearLog
from solespan.forecast.planning import (
    BadPlan,
    LifeSettings,
    NextSole,
    Route,
    Verdict,
    cost_of_rack,
    decide_verdict,
    needs_of,
    state_of,
    wear_allowance,
)
from solespan.forecast.planning.cost_of_ownership import (
    DEFAULT_CURRENCY,
    RESOLES_STOOD,
    next_soles,
    resoles_left,
    usual_currency,
)
from solespan.forecast.planning.resole_options import DEFAULT_ROUTES, Need

__all__ = [
    "CARE",
    "DEFAULT_TRAITS",
    "LIFE",
    "WAYS",
    "KnownRack",
    "known_rack",
    "known_wearer",
    "refusing",
    "shop_choices_of",
    "shop_ways",
    "stood_in",
    "verdicts_on",
]

DEFAULT_TRAITS: Mapping[str, Any] = {
    "upper": "smooth_calf",
    "months": [],
    "weight": 1.0,
    "route_id": None,
}
LIFE = "life"
CARE = "care"
WAYS = "ways"


@dataclass(frozen=True)
class KnownRack:
    """One wearer's log, fit, traits and routes, as of today where the wearer lives."""

    wearer_id: str
    wearer_pk: int
    today: date
    log: WearLog
    fit: WearFit | None
    settings: ForecastSettings
    traits: dict[str, dict[str, Any]]
    routes: dict[str, Route]
    edited: frozenset[str]
    version: int
    promises: Promises = field(default_factory=Promises)
    life: LifeSettings = field(default_factory=LifeSettings)
    currency: str = DEFAULT_CURRENCY

    @property
    def as_of(self) -> pd.Timestamp:
        """Today as the forecast library takes it."""
        return pd.Timestamp(self.today)

    def trait(self, pair_id: str, name: str) -> Any:
        """One trait of a pair, its default where nothing was said."""
        return self.traits.get(pair_id, DEFAULT_TRAITS)[name]

    def allowance(self) -> pd.DataFrame:
        """Wear days left by pair. Raises `NothingForecast`."""
        return wear_allowance(self.fitted(), self.log, self.as_of, self.settings)

    def cost(
        self,
        *,
        allowance: pd.DataFrame,
        forecast: pd.DataFrame,
        life: LifeSettings,
    ) -> pd.DataFrame:
        """Count up the rack, with the verdict on each pair: see `cost_of_rack`."""
        states = {str(row["pair_id"]): state_of(row) for row in forecast.to_dict("records")}
        soles, welts = self._prices()
        return cost_of_rack(
            self.log,
            allowance,
            soles,
            rewelt_price_minor=welts,
            states=states,
            currency=self.currency,
            settings=life,
        )

    def verdict(self, pair_id: str, state: str | None) -> Verdict:
        """Say what is to be done with one pair, by its state (see `state_of`)."""
        return decide_verdict(state, self.next_soles[pair_id])

    @cached_property
    def next_soles(self) -> dict[str, NextSole]:
        """What becomes of each pair at the end of its sole."""
        return next_soles(self.log, *self._prices(), currency=self.currency, settings=self.life)

    def need_of(self, pair_id: str) -> Need:
        """Say what work the next sole of a pair needs; nothing is known without a sole."""
        sole = self.sole_of(pair_id)
        if sole is None:
            return Need((), ())
        return needs_of(
            material=str(sole["material"]),
            channel=_word(sole["channel"]),
            construction=str(self.pair(pair_id)["construction"]),
            seams=self.seams(pair_id),
            resoles_left=self.resoles_left[pair_id],
        )

    @cached_property
    def resoles_left(self) -> dict[str, int]:
        """Resoles that welt and upper of each pair still allow."""
        return resoles_left(self.log, self.life)

    def _prices(self) -> tuple[dict[str, int], dict[str, int | None]]:
        """Return the price of the next sole of each pair, and what a new welt adds to it."""
        pairs = [str(p) for p in self.log.pairs["pair_id"]]
        routes = {p: self.route_of(p) for p in pairs}
        soles = {p: r.price_minor for p, r in routes.items() if r.currency == self.currency}
        return soles, {p: self._rewelt_price(p) for p in pairs}

    def _rewelt_price(self, pair_id: str) -> int | None:
        """What a new welt adds to the pair's way, or to the cheapest that can do it."""
        route = self.route_of(pair_id)
        if "rewelt" in route.abilities:
            return route.rewelt_price_minor
        able = [
            r.price_minor + r.rewelt_price_minor
            for r in self.routes.values()
            if "rewelt" in r.abilities and r.currency == self.currency
        ]
        return max(min(able) - route.price_minor, 0) if able else None

    def fitted(self) -> WearFit:
        """The stored fit. Raises `NothingForecast`."""
        if self.log.soles.empty:
            raise _without_soles()
        if self.fit is None:
            raise NothingForecast(
                "There is no forecast yet, so nothing can be planned.",
                where=self.wearer_id,
                remedy="Fit the wear model: POST /v1/fit, or run: solespan fit",
            )
        return self.fit

    def route_of(self, pair_id: str) -> Route:
        """Return the pair's own route, or the cheapest that can do its work."""
        own = self.trait(pair_id, "route_id")
        if own in self.routes:
            return self.routes[own]
        wanted = set(self.need_of(pair_id).abilities)
        able = [r for r in self.routes.values() if wanted <= set(r.abilities)]
        return min(able or list(self.routes.values()), key=lambda r: (r.price_minor, r.route_id))

    def pair(self, pair_id: str) -> dict[str, Any]:
        """Return the record of a pair."""
        return self._pairs[pair_id]

    def sole_of(self, pair_id: str) -> dict[str, Any] | None:
        """Return the sole on a pair now, or None."""
        on = [sole for sole in self._soles.get(pair_id, ()) if pd.isna(sole["removed_on"])]
        return on[-1] if on else None

    def seams(self, pair_id: str) -> int:
        """Count the outseams that a pair's welt, or what else holds the sole, has had."""
        soles, jobs = self.log.soles, self.log.bench_jobs
        rewelts = jobs[(jobs["pair_id"] == pair_id) & (jobs["work"] == "rewelt")]
        own, pair = soles[soles["pair_id"] == pair_id], self.pair(pair_id)
        layers = self.log.layers
        first_on = own["fitted_on"].min()
        return seams_of_carrier(
            own,
            pair["earlier_resoles"],
            rewelt_days(layers, pair_id, rewelts["received_on"], first_on),
            construction=pair["construction"],
            layers=layers_on(layers, pair_id),
        )

    @cached_property
    def _pairs(self) -> dict[str, dict[str, Any]]:
        return {row["pair_id"]: row for row in _records(self.log.pairs)}

    @cached_property
    def _soles(self) -> dict[str, list[dict[str, Any]]]:
        """Soles of each pair, by the day they were fitted."""
        out: dict[str, list[dict[str, Any]]] = {}
        for row in _records(self.log.soles.sort_values("fitted_on", kind="stable")):
            out.setdefault(row["pair_id"], []).append(row)
        return out


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(k): v for k, v in row.items()} for row in frame.to_dict("records")]


def known_wearer(session: Session, wearer_id: str) -> dict[str, Any]:
    """Return `pk`, `time_zone`, `data_version` of a wearer. Raises `NotFound`."""
    found = stored.find_wearer(session, wearer_id)
    if found is None:
        raise unknown_id(session, "wearers", "wearer_id", wearer_id)
    return found


def known_rack(ctx: AppContext, session: Session, wearer_id: str) -> KnownRack:
    """Read one wearer's rack. Raises `NotFound`."""
    wearer = known_wearer(session, wearer_id)
    newest = ctx.forecaster.newest_fit(session)
    log = WearLog(**load_frames(session, [wearer_id]))
    currency = usual_currency(log)
    routes, edited = _routes_in(session, wearer_id, currency)
    today = ctx.clock.today(wearer["time_zone"])
    return KnownRack(
        wearer_id=wearer_id,
        wearer_pk=wearer["pk"],
        today=today,
        log=log,
        fit=None if newest is None else newest.fit,
        settings=ctx.forecaster.settings_on(session, today),
        traits=stored.traits_of(session, wearer_id),
        routes=routes,
        edited=edited,
        version=wearer["data_version"],
        promises=promises_in(session),
        life=LifeSettings(resoles_stood=stood_in(session)),
        currency=currency,
    )


def verdicts_on(
    session: Session, wearer_id: str, log: WearLog, amounts: WearLog, states: Mapping[str, str]
) -> dict[str, Verdict]:
    """Say what is to be done with the pairs of a log, with few reads.

    Parameters
    ----------
    log : WearLog
        Pairs, soles and bench jobs at least, all that is logged of each pair.
    amounts : WearLog
        Of the whole rack, with pairs and bench jobs at least: they say in which currency it counts.
    states : mapping
        By pair, as `state_of` says.
    """
    currency = usual_currency(amounts)
    routes, edited = _routes_in(session, wearer_id, currency)
    rack = KnownRack(
        wearer_id=wearer_id,
        wearer_pk=0,
        today=date.min,
        log=log,
        fit=None,
        settings=ForecastSettings(),
        traits=stored.traits_of(session, wearer_id),
        routes=routes,
        edited=edited,
        version=0,
        life=LifeSettings(resoles_stood=stood_in(session)),
        currency=currency,
    )
    return {pair_id: rack.verdict(pair_id, state) for pair_id, state in states.items()}


def _routes_in(
    session: Session, wearer_id: str, currency: str
) -> tuple[dict[str, Route], frozenset[str]]:
    """Read the routes of a rack, by identifier, and which of them were edited."""
    edited = stored.routes_of(session, wearer_id)
    # prices that nobody edited are numbers of common practice, in whatever the owner pays with
    every = shop_ways(session, currency) | edited
    return {key: _route(of) for key, of in sorted(every.items())}, frozenset(edited)


def shop_choices_of(session: Session, name: str) -> dict[str, Any]:
    """Return what the shop set of one of its groups for planning; a session asks once for all."""
    return known_settings(session, (LIFE, CARE, WAYS)).get(name, {})


def shop_ways(session: Session, currency: str | None = None) -> dict[str, dict[str, Any]]:
    """Return the shop's ways to a new sole by name, as it set them or as common practice.

    What nobody set is in `currency`, or that of the program.
    """
    if kept := shop_choices_of(session, WAYS).get("ways"):
        return {way["route_id"]: way for way in kept}
    own = {} if currency is None else {"currency": currency}
    return {route.route_id: asdict(route) | own for route in DEFAULT_ROUTES}


def stood_in(session: Session) -> dict[str, int]:
    """Resoles that each construction allows, as edited or as common practice."""
    choices = LifeSettingsAsked.model_validate(shop_choices_of(session, LIFE))
    return {**RESOLES_STOOD, **choices.resoles_stood}


def _route(stored_fields: Mapping[str, Any]) -> Route:
    names = {f.name for f in fields(Route)}
    values: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value
        for name, value in stored_fields.items()
        if name in names
    }
    return Route(**values)


def _word(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None


@contextmanager
def refusing(remedy: str) -> Iterator[None]:
    """Turn what the planner refuses into an error of the service; nothing was changed."""
    try:
        yield
    except BadPlan as bad:
        raise Refused(bad.what, where=bad.field, accepted=bad.accepted, remedy=remedy) from bad
    except TooLittleData as little:
        raise _without_soles() from little


def _without_soles() -> NothingForecast:
    return NothingForecast(
        "No pair of this rack has a sole, so there is nothing to plan.",
        where="soles",
        remedy="Add the soles that are on the pairs.",
    )
