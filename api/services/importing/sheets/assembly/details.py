"""Details of people and pairs: what does a record add to its wearer and its pair?"""

from __future__ import annotations

from solespan.api.services.importing.sheets.assembly.people import Pair, SoleFact, Wearer
from solespan.api.services.importing.sheets.assembly.record import Record
from solespan.api.services.importing.sheets.cells.quantities import digits

__all__ = ["add_pair_details", "add_wearer_details", "label_parts"]

OF_WEARER = {
    "wearers.telephone": "phone",
    "wearers.language": "language",
    "wearers.time_zone": "time_zone",
    "wearers.driving_foot": "driving_foot",
}
TEXTS = ("construction", "dress_code", "kind")
NUMBERS = ("size_eu", "wears_per_week")
PARTS = ("pairs.brand", "pairs.model", "pairs.colour")


def label_parts(record: Record) -> tuple[str, str]:
    """Return the name of the pair in a record, and the words that make it longer."""
    label = record.text("pairs.label")
    parts = [record.text(name) for name in PARTS]
    joined = " ".join(part for part in parts if part)
    return (label, joined) if label else (joined, "")


def add_wearer_details(record: Record, wearer: Wearer) -> None:
    """Add what a record says of its wearer; the first row that says something holds."""
    for target, column in OF_WEARER.items():
        if record.text(target):
            wearer.values.setdefault(column, record.text(target))


def add_pair_details(record: Record, pair: Pair) -> None:
    """Add what a record says of its pair and its soles."""
    for name in TEXTS:
        if record.text(f"pairs.{name}"):
            pair.values.setdefault(name, record.text(f"pairs.{name}"))
            if f"pairs.{name}" in record.guesses:
                pair.values.setdefault(f"{name}.guess", record.guesses[f"pairs.{name}"])
    for name in NUMBERS:
        value = record.number(f"pairs.{name}")
        if value is not None:
            pair.values.setdefault(name, digits(value))
    price = record.number("pairs.price")
    if price is not None:
        pair.values.setdefault("price_minor", digits(price))
        code = record.text("pairs.price.currency") or record.text("pairs.currency")
        pair.values.setdefault("currency", code)
    count, wears = record.number("pairs.earlier_resoles"), record.number("pairs.wear_count")
    pair.resoles_stated = int(count) if count is not None else pair.resoles_stated
    pair.wear_count = int(wears) if wears is not None else pair.wear_count
    pair.periods += record.periods
    pair.acquired = pair.acquired or record.day("pairs.acquired_on")
    in_use = record.day("pairs.in_use_on")
    if in_use and in_use.exact:
        pair.values["in_use_on"] = max(pair.values.get("in_use_on", ""), in_use.day.isoformat())
    if not record.works:
        _add_sole_fact(record, pair)


def _add_sole_fact(record: Record, pair: Pair) -> None:
    fact = SoleFact(
        record.place,
        tuple(record.days.get("soles.fitted_on", [])),
        record.text("soles.sole_id"),
        record.text("soles.material"),
        record.number("soles.thickness"),
        record.number("soles.limit"),
        record.text("soles.cover"),
        record.text("soles.channel"),
        record.day("soles.removed_on"),
        record.guesses.get("soles.material", ""),
    )
    if fact != SoleFact(record.place):
        pair.facts.append(fact)
