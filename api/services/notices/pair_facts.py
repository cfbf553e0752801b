"""Pair facts service: what does a notice say of pairs besides their dates?"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from solespan.api.services.bench.bench_settings import read_bench_settings
from solespan.api.storage.bench.waits import Promises, promises_in
from solespan.api.storage.notices.looks import last_looks, photographs_of

__all__ = ["PairFacts", "load_pair_facts"]

WORK = "full_sole"


@dataclass(frozen=True)
class PairFacts:
    """What is known of pairs and of the bench.

    looks : the last look at the ball, by the pair's number. photographs : the id of the newest
    one, the same way. price_minor : of a full sole; None = the shop has set no price.
    """

    looks: Mapping[int, Mapping[str, Any]] = field(default_factory=dict)
    photographs: Mapping[int, str] = field(default_factory=dict)
    price_minor: int | None = None
    currency: str = ""
    promises: Promises = field(default_factory=Promises)

    def wait_days(self, today: date) -> int | None:
        """Return the days in which nine pairs in ten are back; None without a plan."""
        back = self.promises.back_on(today)
        return None if back is None else max(1, (back - today).days)


def load_pair_facts(session: Session, pair_pks: Collection[int]) -> PairFacts:
    """Read the facts of some pairs, each kind at once."""
    settings, version = read_bench_settings(session)
    return PairFacts(
        last_looks(session, pair_pks),
        photographs_of(session, pair_pks),
        settings.price_minor.get(WORK) if version else None,
        settings.currency,
        promises_in(session),
    )
