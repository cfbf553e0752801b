"""Rows of people, pairs and soles: what stands in the tables, and what is assumed there?"""

from __future__ import annotations

from datetime import date

from solespan.api.services.importing.sheets.assembly.people import Book, Pair
from solespan.api.services.importing.sheets.assembly.sole_rows import (
    USUAL_CONSTRUCTION,
    Sole,
    soles_of,
)
from solespan.api.services.importing.sheets.assembly.table_rows import TableRows
from solespan.api.services.importing.sheets.cells.quantities import digits
from solespan.api.services.importing.sheets.cells.words import say
from solespan.api.services.importing.sheets.questions import Asker
from solespan.api.services.importing.sheets.translation import Assumption, KnownNames

__all__ = ["write_people"]

OFFERED = ("EUR", "GBP", "USD", "CHF", "SEK", "DKK")
WEARER = ("name", "email", "phone", "language", "driving_foot", "time_zone")
MOST_PER_WEEK = 7.0


def write_people(
    book: Book,
    rows: TableRows,
    known: KnownNames,
    asker: Asker,
    today: date,
    assumed: list[Assumption],
) -> None:
    """Write wearers, pairs and soles; those that the database knows stay as they are."""
    _write_wearers(book, rows, known)
    needs = [p for p in book.pairs.values() if "price_minor" in p.values and not p.known]
    lacking = [p for p in needs if not p.values.get("currency")]
    currency = _ask_currency(asker) if lacking or _unpriced(rows) else ""
    for row in rows.rows["bench_jobs"].values():
        _complete_price(row, currency)
    for pair in book.pairs.values():
        before = len(assumed)
        soles = soles_of(
            pair, known.soles.get(pair.pair_id, frozenset()), asker, today, assumed.append
        )
        guessed = {one.id for one in assumed[before:]}
        _complete_price(pair.values, currency)
        if not pair.known or _says_something(pair):
            _write_pair(pair, soles, rows, today, assumed)
        for sole in soles:
            _write_sole(sole, pair, rows, guessed)


def _write_wearers(book: Book, rows: TableRows, known: KnownNames) -> None:
    for wearer in book.wearers.values():
        if wearer.known and not set(WEARER[1:]) & set(wearer.values):
            continue
        row = {name: wearer.values.get(name, "") for name in WEARER}
        row["wearer_id"] = wearer.wearer_id
        zone = "" if wearer.known else known.shop_time_zone or ""
        row["time_zone"] = wearer.values.get("time_zone", "") or zone
        rows.add("wearers", row, wearer.place)


def _unpriced(rows: TableRows) -> bool:
    jobs = rows.rows["bench_jobs"].values()
    return any(row.get("price_minor") and not row.get("currency") for row in jobs)


def _ask_currency(asker: Asker) -> str:
    return asker.ask(
        "currency",
        "Prices stand without a currency. Which one is it?",
        [*((code, code) for code in OFFERED), ("", "leave the prices out")],
        OFFERED[0],
    )


def _complete_price(row: dict[str, str], currency: str) -> None:
    if row.get("price_minor") and not row.get("currency"):
        if currency:
            row["currency"] = currency
        else:
            del row["price_minor"]
    if not row.get("currency"):
        row.pop("currency", None)


def _says_something(pair: Pair) -> bool:
    """Whether the sheets say more of a pair that the database knows than its name."""
    details = {name for name in pair.values if "." not in name} - {"number"}
    return bool(details) or pair.acquired is not None


def _write_pair(
    pair: Pair, soles: list[Sole], rows: TableRows, today: date, assumed: list[Assumption]
) -> None:
    def assume(column: str, value: str, words: str) -> None:
        assumed.append(Assumption("pairs", pair.pair_id, column, value, words))

    row = {name: value for name, value in pair.values.items() if "." not in name}
    row.pop("number", None)
    guess = pair.values.get("construction.guess")
    if not row.get("construction"):
        row["construction"] = USUAL_CONSTRUCTION
        words = f"no construction is stated; {say(USUAL_CONSTRUCTION)} is assumed"
        assume("construction", USUAL_CONSTRUCTION, words)
    elif guess:
        assume("construction", row["construction"], f"{guess!r} is read as this construction")
    owner = "" if pair.known else pair.wearer.wearer_id
    row |= {"pair_id": pair.pair_id, "wearer_id": owner, "label": pair.label}
    if pair.acquired:
        row["acquired_on"] = pair.acquired.day.isoformat()
        if not pair.acquired.exact:
            assume(
                "acquired_on", row["acquired_on"], "no exact day is stated; the middle is assumed"
            )
    if pair.resoles_stated is not None:
        resoled = sum(not pair.acquired or s.fitted_on > pair.acquired.day for s in soles)
        row["earlier_resoles"] = str(min(30, max(0, pair.resoles_stated - resoled)))
    dated = pair.acquired or soles
    if pair.wear_count and not row.get("wears_per_week") and not pair.days and dated:
        first = pair.acquired.day if pair.acquired else min(s.fitted_on for s in soles)
        since = min((start for start, _ in pair.periods), default=first)
        until = min(today, max((end for _, end in pair.periods), default=today))
        weeks = max(1.0, (until - since).days / 7)
        value = f"{min(MOST_PER_WEEK, pair.wear_count / weeks):.3g}"
        row["wears_per_week"] = value
        assume("wears_per_week", value, f"made from {pair.wear_count} wears since {since}")
    rows.add("pairs", row, pair.place)


def _write_sole(sole: Sole, pair: Pair, rows: TableRows, guessed: set[str]) -> None:
    row = {
        "sole_id": sole.sole_id,
        "pair_id": pair.pair_id,
        "fitted_on": sole.fitted_on.isoformat(),
        "material": sole.material,
        "nominal_thickness_mm": digits(sole.thickness_mm),
        "limit_mm": digits(sole.limit_mm),
        "cover": sole.cover,
        "channel": sole.channel,
        "assumed": "true" if sole.sole_id in guessed else "",
        "removed_on": sole.removed_on.isoformat() if sole.removed_on else "",
    }
    if rows.find("soles", row) is not None:  # a number that the sheet gives to several soles
        row["sole_id"] = f"{pair.pair_id}-{row['fitted_on']}"
    rows.add("soles", row, sole.place)
