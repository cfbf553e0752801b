"""Band events service: which pairs pass into another band when their forecasts are replaced?

Nothing is read unless an endpoint of hooks wants to be told.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime

from sqlalchemy.orm import Session

from solespan.api.storage.forecasts.forecast_reads import bands_of
from solespan.api.storage.notices.hook_events import is_wanted, put_pair_event

__all__ = ["told_bands"]

KIND = "forecast.band_changed"
BANDS = ("sound", "watch", "book in", "stop wearing")


@contextmanager
def told_bands(session: Session, wearer_ids: Sequence[str], now: datetime) -> Iterator[None]:
    """Write an event for each pair whose band is another one after this block."""
    wanted = is_wanted(session, KIND)
    before = bands_of(session, wearer_ids) if wanted else {}
    yield
    after = bands_of(session, wearer_ids) if wanted else {}
    for pair_id, band in after.items():
        was = before.get(pair_id)
        if was in BANDS and band in BANDS and was != band:
            put_pair_event(session, KIND, pair_id, now, {"from": was, "to": band})
