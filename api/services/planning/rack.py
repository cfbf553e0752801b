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
from solespan.api.services.shop_choices import read_choices
from solespan.api.services.unknown_id import unknown_id
from solespan.api.storage.bench.waits import Promises, promises_in
from solespan.api.storage.planning import planning as stored
from solespan.api.storage.rack.frames import load_frames
from solespan.forecast import ForecastSettings, WearFit
from solespan.forecast.errors import TooLittleData
from solespan.forecast.layers.carriers import seams_of_carrier
from solespan.forecast.log import WearLog
from solespan.forecast.planning import (
    BadPlan,
    LifeSettings,
    NextSole,
    PairState,
    Route,
    Verdict,
    cost_of_rack,
    decide_verdict,
    needs_of,
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
    "DEFAULT_TRAITS",
    "LIFE",
    "KnownRack",
    "back_on",
    "known_rack",
    "known_wearer",
    "pair_states",
    "refusing",
    "stood_in",
    "verdict_on",
]

DEFAULT_TRAITS: Mapping[str, Any] = {
    "upper": "smooth_calf",
    "months": [],
    "weight": 1.0,
    "route_id": None,
}
LIFE = "life"
SOLES = ("full_sole", "half_sole")
PLANNED_LEAD = 0.90  # a plan counts a pair away until it is back nine times of ten


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
        bands = dict(zip(forecast["pair_id"], forecast["band"], strict=True))
        soles, welts = self._prices()
        return cost_of_rack(
            self.log,
            allowance,
            soles,
            rewelt_price_minor=welts,
            bands=bands,
            currency=self.currency,
            settings=life,
        )

    def verdict(self, pair_id: str, band: str | None) -> Verdict:
        """Say what is to be done with one pair of this band."""
        return decide_verdict(band, self.next_soles[pair_id])

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
        return seams_of_carrier(
            soles[soles["pair_id"] == pair_id],
            self.pair(pair_id)["earlier_resoles"],
            rewelts["received_on"],
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


def verdict_on(
    session: Session, wearer_id: str, log: WearLog, amounts: WearLog, band: str
) -> Verdict:
    """Say what is to be done with the one pair of a log, with few reads.

    Parameters
    ----------
    log : WearLog
        All that is logged of the pair.
    amounts : WearLog
        Of the whole rack, with pairs and bench jobs at least: they say in which currency it counts.
    band : word of `forecast.frames.BANDS`
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
    return rack.verdict(str(log.pairs["pair_id"].iloc[0]), band)


def _routes_in(
    session: Session, wearer_id: str, currency: str
) -> tuple[dict[str, Route], frozenset[str]]:
    """Read the routes of a rack, by identifier, and which of them were edited."""
    edited = stored.routes_of(session, wearer_id)
    # prices that nobody edited are numbers of common practice, in whatever the owner pays with
    every = {r.route_id: asdict(r) | {"currency": currency} for r in DEFAULT_ROUTES} | edited
    return {key: _route(of) for key, of in sorted(every.items())}, frozenset(edited)


def stood_in(session: Session) -> dict[str, int]:
    """Resoles that each construction allows, as edited or as common practice."""
    choices, _ = read_choices(session, LIFE, LifeSettingsAsked())
    return {**RESOLES_STOOD, **choices.resoles_stood}


def _route(stored_fields: Mapping[str, Any]) -> Route:
    names = {f.name for f in fields(Route)}
    values: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value
        for name, value in stored_fields.items()
        if name in names
    }
    return Route(**values)


def pair_states(rack: KnownRack, forecast: pd.DataFrame) -> list[PairState]:
    """State of every pair as the planner takes it, with its forecast. Raises `NothingForecast`."""
    main = forecast[(forecast["foot"] == "pair") & (forecast["point"] == "ball")]
    said: dict[str, dict[Any, Any]] = {str(row["pair_id"]): row for row in main.to_dict("records")}
    allowance = rack.allowance()
    left = dict(zip(allowance["pair_id"], allowance["wear_days_left"], strict=True))
    new = dict(zip(allowance["pair_id"], allowance["wear_days_new"], strict=True))
    pace = dict(zip(allowance["pair_id"], allowance["wear_days_per_week"], strict=True))
    fresh_soles = allowance["wear_days_new"]
    usual_new = int(fresh_soles.median()) if len(fresh_soles) else LifeSettings().wears_per_sole
    last: dict[str, tuple[pd.Timestamp, bool]] = {
        str(row["pair_id"]): (row["worn_on"], bool(row["wet"]))
        for row in rack.log.wear_days.sort_values("worn_on").to_dict("records")
    }
    jobs = rack.log.bench_jobs
    open_jobs = jobs[jobs["returned_on"].isna() & (jobs["received_on"] <= rack.as_of)]
    states = []
    for pair in rack.log.pairs.to_dict("records"):
        pair_id = str(pair["pair_id"])
        route = rack.route_of(pair_id)
        mine = open_jobs[open_jobs["pair_id"] == pair_id]
        lead = route.lead_days(PLANNED_LEAD)
        fresh = max(1, int(new.get(pair_id, usual_new)))
        # a pair that is being resoled comes back with a new sole on
        resoling = bool(mine["work"].isin(SOLES).any())
        worn_on, wet = last.get(pair_id, (None, False))
        row = said.get(pair_id, {})
        verdict = rack.verdict(pair_id, row.get("band"))
        states.append(
            PairState(
                pair_id=pair_id,
                wear_days_left=fresh if resoling else int(left.get(pair_id, 0)),
                wear_days_new=fresh,
                label=_word(pair["label"]) or "",
                dress_code=_word(pair["dress_code"]),
                last_worn=worn_on,
                last_wet=wet,
                away_until=_away_until(rack, mine) if len(mine) else None,
                lead_days=lead,
                price_minor=verdict.next_sole.price_minor,
                retired=pair_id not in left and not len(mine),
                wears_per_week=round(float(pace.get(pair_id, 0.0)), 3),
                next_sole=verdict.next_sole.word,
                send_by=_send_by(rack, verdict.word, row),
                sent_on=_sent_on(jobs[jobs["pair_id"] == pair_id]),
            )
        )
    return states


def _send_by(rack: KnownRack, verdict: str, row: Mapping[Any, Any]) -> pd.Timestamp | None:
    """Day by which a pair is sent whose verdict says so; today at the earliest."""
    if verdict not in ("send", "rewelt"):
        return None
    day = row["send_by"]
    return rack.as_of if pd.isna(day) else max(pd.Timestamp(day), rack.as_of)


def _sent_on(jobs: pd.DataFrame) -> pd.Timestamp | None:
    """Last day a pair was handed over for a sole."""
    days = jobs.loc[jobs["work"].isin(SOLES), "received_on"]
    return None if days.empty else pd.Timestamp(days.max())


def back_on(rack: KnownRack, job: Mapping[Any, Any]) -> pd.Timestamp:
    """Expect a job back on the day promised, else by the bench's plan, else by its route."""
    if not pd.isna(job["promised_on"]):
        return pd.Timestamp(job["promised_on"])
    planned = rack.promises.orders.get(str(job["job_id"]))
    if planned is not None:
        return pd.Timestamp(planned)
    lead_days = rack.route_of(str(job["pair_id"])).lead_days(PLANNED_LEAD)
    return pd.Timestamp(job["received_on"] + pd.Timedelta(days=lead_days))


def _away_until(rack: KnownRack, jobs: pd.DataFrame) -> pd.Timestamp:
    """Expect a pair back when its last job is, and never today."""
    last = max(back_on(rack, job) for job in jobs.to_dict("records"))
    return max(last, rack.as_of + pd.Timedelta(days=1))


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
