"""Book of people and pairs: whom and which pair does a row name, and under which id?

Rows name them by number, by name, or by the row above. Names are compared by letters and digits. A
name that is near to a known one is asked about. Ids are made from names.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date

from rapidfuzz import fuzz, process

from solespan.api.services.importing.sheets.assembly.record import Record
from solespan.api.services.importing.sheets.cells.dates import Day
from solespan.api.services.importing.sheets.cells.words import plain, word_of
from solespan.api.services.importing.sheets.questions import Asker
from solespan.api.services.importing.sheets.translation import KnownNames, Place, Problem
from solespan.forecast.values import ID_LENGTH

__all__ = ["Book", "Pair", "SoleFact", "Wearer"]

NEAR, VERY_NEAR = 75, 86
OWN = "a pair of its own"
MOST_OFFERED = 60
_NUMBERS = re.compile(r"\d+")


@dataclass
class Wearer:
    """One customer: the id, what the sheets say, and the row that named them first."""

    wearer_id: str
    place: Place
    known: bool = False
    values: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class SoleFact:
    """What one row says of soles: the days they were fitted, and what they are."""

    place: Place
    days: tuple[Day, ...] = ()
    sole_id: str = ""
    material: str = ""
    thickness_mm: float | None = None
    limit_mm: float | None = None
    cover: str = ""
    channel: str = ""
    removed: Day | None = None
    guess: str = ""


@dataclass
class Pair:
    """One pair: its wearer, what the sheets say of it, and all days on which something happened."""

    pair_id: str
    wearer: Wearer
    label: str
    place: Place
    known: bool = False
    values: dict[str, str] = field(default_factory=dict)
    acquired: Day | None = None
    facts: list[SoleFact] = field(default_factory=list)
    days: list[date] = field(default_factory=list)
    resoles_stated: int | None = None
    wear_count: int | None = None
    periods: list[tuple[date, date]] = field(default_factory=list)


def slug(text: str, fallback: str) -> str:
    """Make an id from a name."""
    return plain(text).replace(" ", "-")[:80] or fallback


class Book:
    """All wearers and pairs of one translation, by what rows call them."""

    def __init__(self, known: KnownNames, asker: Asker) -> None:
        self.known = known
        self.asker = asker
        self.wearers: dict[str, Wearer] = {}
        self.pairs: dict[str, Pair] = {}
        self._by_name: dict[str, list[Wearer]] = {}
        self._by_mail: dict[str, Wearer] = {}
        self._by_number: dict[str, Wearer] = {}
        self._pairs_by_name: dict[str, list[Pair]] = {}
        self._pairs_by_number: dict[str, Pair] = {}
        self._known_names: dict[str, list[str]] = {}
        for wearer_id, name in known.wearers.items():
            self._known_names.setdefault(plain(name or wearer_id), []).append(wearer_id)
        self._known_labels: dict[str, list[str]] = {}
        for pair_id, label in known.pairs.items():
            self._known_labels.setdefault(plain(label or pair_id), []).append(pair_id)

    def wearer(self, record: Record) -> Wearer | None:
        """Find or add the wearer whom a row names; None = it names none."""
        number, mail = record.text("wearers.wearer_id"), record.text("wearers.email").lower()
        name = _full_name(record)
        if name and not number and not mail and word_of("self", name, near=False)[0]:
            return self.one_wearer(record.place)
        if not (number or name or mail):
            return None
        found = self._by_number.get(plain(number)) if number else None
        if found is None and not number:
            found = self._wearer_named(name, mail)
        if found is None and number and name:
            same = [w for w in self._by_name.get(plain(name), []) if "number" not in w.values]
            found = same[0] if len(same) == 1 else None
        if found is None:
            found = self._add_wearer(record, number, name or mail.partition("@")[0])
        if number:
            self._by_number[plain(number)] = found
            found.values["number"] = number
        if mail:
            self._by_mail.setdefault(mail, found)
            found.values.setdefault("email", record.text("wearers.email"))
        if name:
            found.values.setdefault("name", name)
        return found

    def _wearer_named(self, name: str, mail: str) -> Wearer | None:
        if not name:
            return self._by_mail.get(mail)
        same = self._by_name.get(plain(name), [])
        if not mail:
            return same[0] if same else None
        fitting = [w for w in same if w.values.get("email", mail).lower() == mail]
        return fitting[0] if fitting else None

    def _add_wearer(self, record: Record, number: str, name: str) -> Wearer:
        stored = self._known_names.get(plain(name), [])
        if number and number in self.known.wearers:
            wearer = Wearer(number, record.place, known=True)
        elif not number and len(stored) == 1 and stored[0] not in self.wearers:
            wearer = Wearer(stored[0], record.place, known=True)
        else:
            wanted = number or slug(name, "customer")
            taken = set(self.wearers) | (set() if number else set(self.known.wearers))
            wearer = Wearer(_free(wanted, taken), record.place)
        self.wearers[wearer.wearer_id] = wearer
        self._by_name.setdefault(plain(name), []).append(wearer)
        return wearer

    def one_wearer(self, place: Place) -> Wearer:
        """Return the wearer of rows that name none."""
        wearer_id = self.known.one_wearer or ""
        if not wearer_id and len(self.known.wearers) > 1:
            offered = list(self.known.wearers.items())[:MOST_OFFERED]
            wearer_id = self.asker.ask(
                "wearer",
                "The sheet names no wearer. Who wears these pairs?",
                [*((i, name or i) for i, name in offered), ("", "a new wearer")],
                "",
            )
        elif not wearer_id and len(self.known.wearers) == 1:
            wearer_id = next(iter(self.known.wearers))
        if not wearer_id and len(self.wearers) == 1:
            return next(iter(self.wearers.values()))
        key = wearer_id or _free("owner", set(self.known.wearers))
        if key not in self.wearers:
            self.wearers[key] = Wearer(key, place, known=key in self.known.wearers)
        return self.wearers[key]

    def pair(
        self, record: Record, wearer: Wearer | None, label: str, *, described: bool
    ) -> Pair | None:
        """Find or add the pair that a row names; None with a problem where it is not clear.

        `described` tells whether the block describes pairs, so that a new name is a new pair.
        """
        number = record.text("pairs.pair_id")
        if number and plain(number) in self._pairs_by_number:
            return self._pairs_by_number[plain(number)]
        found = self._pair_named(record, wearer, label, described=described) if label else None
        if (
            found is not None
            and number
            and plain(found.values.get("number", number)) != plain(number)
        ):
            found = None
        if found is None and record.problems:
            return None
        if found is None:
            found = self._add_pair(record, wearer, label, number)
        if number:
            self._pairs_by_number[plain(number)] = found
            found.values["number"] = number
        return found

    def _pair_named(
        self, record: Record, wearer: Wearer | None, label: str, *, described: bool
    ) -> Pair | None:
        same = self._of(wearer, self._pairs_by_name.get(plain(label), []))
        if not same and plain(label) in self._pairs_by_number:
            return self._pairs_by_number[plain(label)]
        if len(same) == 1:
            return same[0]
        if len(same) > 1:
            record.problems.append(
                Problem(
                    "", label, "several pairs have this name", "the pair's number, or its wearer"
                )
            )
            return None
        if plain(label) in self._known_labels or label in self.known.pairs or described:
            return None
        return self._near(record, wearer, label)

    def _of(self, wearer: Wearer | None, pairs: list[Pair]) -> list[Pair]:
        return [p for p in pairs if wearer is None or p.wearer is wearer]

    def _near(self, record: Record, wearer: Wearer | None, label: str) -> Pair | None:
        """Ask whether a name is meant for a pair of nearly the same name."""
        labels = {p.pair_id: p.label for p in self._of(wearer, list(self.pairs.values()))}
        stored = self.known.pairs if wearer is None else {}
        labels |= {i: label for i, label in stored.items() if label and i not in self.pairs}
        wanted = plain(label)
        # Pair 1 and pair 11 are two pairs, however near their names are.
        numbered = _NUMBERS.findall(wanted)
        names = {pair_id: plain(label) for pair_id, label in labels.items()}
        names = {i: name for i, name in names.items() if _NUMBERS.findall(name) in ([], numbered)}
        ranked = process.extract(wanted, names, scorer=fuzz.token_sort_ratio, limit=4)
        tokens = set(wanted.split())
        within = [i for i, name in names.items() if tokens and tokens <= set(name.split())]
        offered = [str(key) for _, score, key in ranked if score >= NEAR]
        offered = list(dict.fromkeys([*within[:4], *offered]))
        if not offered:
            return None
        best = ranked[0][2] if ranked and ranked[0][1] >= VERY_NEAR else ""
        proposed = within[0] if len(within) == 1 else best
        answer = self.asker.ask(
            f"pair:{wanted[:60]}",
            f"Which pair is {label[:60]!r}?",
            [*((i, labels[i]) for i in offered), (OWN, OWN)],
            proposed or OWN,
            most=5,
        )
        if answer in self.pairs or answer not in labels:
            return self.pairs.get(answer)
        return self._add_stored(record, wearer, answer)

    def _add_stored(self, record: Record, wearer: Wearer | None, pair_id: str) -> Pair:
        """Add a pair of the database; its wearer stays as it is there."""
        owner = wearer or Wearer("", record.place, known=True)
        label = self.known.pairs[pair_id] or pair_id
        pair = Pair(pair_id, owner, label, record.place, known=True)
        self.add(pair, pair_id)
        return pair

    def _stored_id(self, wearer: Wearer | None, label: str, number: str) -> str:
        """Return the id under which the database knows a pair; empty = it does not."""
        for wanted in (number, "" if number else label):
            if wanted and wanted in self.known.pairs and wanted not in self.pairs:
                return wanted
        if number:
            return ""
        stored = self._known_labels.get(plain(label), [])
        own = _pair_slug(wearer, label)
        if own in stored and own not in self.pairs:
            return own
        if wearer is None and len(stored) == 1 and stored[0] not in self.pairs:
            return stored[0]
        one = self.known.one_wearer
        alone = wearer is not None and one is not None and wearer.wearer_id == one
        return stored[0] if alone and len(stored) == 1 and stored[0] not in self.pairs else ""

    def _add_pair(self, record: Record, wearer: Wearer | None, label: str, number: str) -> Pair:
        stored = self._stored_id(wearer, label, number)
        if stored:
            return self._add_stored(record, wearer, stored)
        owner = wearer or self.one_wearer(record.place)
        wanted = number or _pair_slug(wearer, label)
        taken = set(self.pairs) | (set() if number else set(self.known.pairs))
        pair = Pair(_free(wanted[: ID_LENGTH - 20], taken), owner, label, record.place)
        self.add(pair, number)
        return pair

    def add(self, pair: Pair, number: str) -> None:
        """Add a pair under its name and its number."""
        self.pairs[pair.pair_id] = pair
        self._pairs_by_name.setdefault(plain(pair.label), []).append(pair)
        if number:
            self._pairs_by_number[plain(number)] = pair

    def labels(self) -> list[str]:
        """Return the names of all pairs, those of the database too."""
        return [*(p.label for p in self.pairs.values()), *self.known.pairs.values()]


def _pair_slug(wearer: Wearer | None, label: str) -> str:
    """Make the id of a pair; that of its wearer stands before it where a sheet names one."""
    own = slug(label, "pair")
    if wearer is None:
        return own
    prefix = slug(wearer.wearer_id, "customer")
    return own if own.endswith(prefix) else f"{prefix}-{own}"


def _full_name(record: Record) -> str:
    name = record.text("wearers.name")
    first, last = record.text("wearers.first_name"), record.text("wearers.last_name")
    if name and first and plain(first) not in plain(name):
        return f"{first} {name}"
    return name or f"{first} {last}".strip()


def _free(wanted: str, taken: set[str]) -> str:
    number, free = 2, wanted
    while free in taken:
        free, number = f"{wanted}-{number}", number + 1
    return free
