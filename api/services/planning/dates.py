"""Date service: which days of a rack does its owner have to know, and in which words?

Calendar and reminders take their days and words from here, so that both say the same.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from urllib.parse import quote

import pandas as pd

from solespan.api.services.planning.rack import KnownRack
from solespan.api.settings import Settings
from solespan.forecast.dates.points_before import REPAIRS, points_before
from solespan.forecast.planning import state_of
from solespan.forecast.planning.verdict import LOOK

__all__ = [
    "BOOK_BY",
    "SEND_BY",
    "THE_DAY_BEFORE",
    "DateEntry",
    "day_words",
    "due_dates",
    "pair_address",
    "pair_names",
    "uid_of",
]

BOOK_BY, SEND_BY = "book by", "send by"
# An all-day entry begins at midnight: the alarms sound at nine in the morning.
ON_THE_DAY, THE_DAY_BEFORE = timedelta(hours=9), timedelta(hours=-15)


@dataclass(frozen=True)
class DateEntry:
    """One day: what it is about, its text, its pair, and when an alarm sounds."""

    uid: str
    on: date
    summary: str
    description: str
    kind: str
    pair_id: str = ""
    alarm: timedelta | None = None


def due_dates(
    rack: KnownRack, forecast: pd.DataFrame, planned: Collection[str] = ()
) -> Iterator[DateEntry]:
    """Yield the book-by and send-by day of every pair that has one, none before today.

    A pair whose date is too uncertain for a journey has a day to look at its sole instead. Where
    the heel or the toe comes before the sole, its day follows.

    `planned` are pairs that a plan hands over.
    """
    names = pair_names(rack)
    main = forecast[(forecast["foot"] == "pair") & (forecast["point"] == "ball")]
    for row in main.to_dict("records"):
        if pd.isna(row["send_by"]) or row["band"] in ("away", "retired"):
            continue
        pair_id = str(row["pair_id"])
        key = (rack.wearer_id, pair_id, str(row["sole_id"]))
        send_by = max(row["send_by"].date(), rack.today)
        if state_of(row) == LOOK:
            yield DateEntry(
                uid_of("look", *key),
                send_by,
                f"Look at the sole: {names[pair_id]}",
                f"Its date is known to half a year only. {row['reason'] or ''}".strip(),
                SEND_BY,
                pair_id,
                THE_DAY_BEFORE,
            )
            continue
        if not pd.isna(row["book_by"]):
            yield DateEntry(
                uid_of("book-by", *key),
                max(row["book_by"].date(), rack.today),
                f"Book by: {names[pair_id]}",
                f"Ask for a place on the bench. Send it by {day_words(send_by, rack.today)}.",
                BOOK_BY,
                pair_id,
                ON_THE_DAY,
            )
        risk = f"{rack.settings.risk:.0%}"
        text = f"The last day at a risk of {risk} of being past the limit. {row['reason'] or ''}"
        if pair_id in planned:
            text += " The plan hands it over earlier or then."
        yield DateEntry(
            uid_of("send-by", *key),
            send_by,
            f"Send by: {names[pair_id]}",
            text.strip(),
            SEND_BY,
            pair_id,
            THE_DAY_BEFORE,
        )
    yield from _points_before(rack, forecast, names)


def _points_before(
    rack: KnownRack, forecast: pd.DataFrame, names: Mapping[str, str]
) -> Iterator[DateEntry]:
    """Yield the day of a new top piece or toe piece, where it comes before the sole."""
    for pair_id, points in points_before(forecast).items():
        for row in points:
            yield DateEntry(
                uid_of(f"{row['point']}-by", rack.wearer_id, pair_id, str(row["sole_id"])),
                max(row["send_by"].date(), rack.today),
                f"New {REPAIRS[row['point']]} by: {names[pair_id]}",
                f"The {row['point']} comes before the sole.",
                SEND_BY,
                pair_id,
                THE_DAY_BEFORE,
            )


def day_words(day: date, today: date) -> str:
    """Say a day in words: 29 November, with its year where it is another than this one."""
    return f"{day.day} {day:%B}{'' if day.year == today.year else f' {day.year}'}"


def pair_names(rack: KnownRack) -> Mapping[str, str]:
    """Return what each pair is called."""
    return {
        str(p): (label if isinstance(label, str) and label else str(p))
        for p, label in zip(rack.log.pairs["pair_id"], rack.log.pairs["label"], strict=True)
    }


def pair_address(settings: Settings, pair_id: str = "") -> str:
    """Return the address of a pair's page, or of the rack."""
    base = settings.public_address or f"http://127.0.0.1:{settings.port}"
    return f"{base}/pairs/{quote(pair_id, safe='')}" if pair_id else f"{base}/"


def uid_of(*parts: str) -> str:
    """Name a thing for calendars: the same thing has the same name on any day."""
    digest = hashlib.sha256("\x00".join(parts).encode()).hexdigest()
    return f"{parts[0]}-{digest[:32]}@solespan"
