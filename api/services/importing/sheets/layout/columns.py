"""Column proposals: which target does each column of a block mean?

A proposal weighs the words of the header, the look of the cells, and what the other columns are.
A person's choice comes before it.
"""

from __future__ import annotations

import re
from calendar import monthrange
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from solespan.api.services.importing.sheets.cells.axis import axis_of, is_year, month_and_year_in, text_of
from solespan.api.services.importing.sheets.cells.dates import DateStyle, read_day, read_days
from solespan.api.services.importing.sheets.cells.quantities import read_number, unit_in
from solespan.api.services.importing.sheets.cells.words import (
    TARGETS,
    header_scores,
    is_blank,
    plain,
    word_of,
)
from solespan.api.services.importing.sheets.layout.blocks import HEADING, Block
from solespan.api.services.importing.sheets.sheet import Cell

__all__ = ["IGNORE", "NOTE", "TWO_VALUES", "Use", "propose_uses", "says_day"]

NOTE, IGNORE = "note", "ignore"
SAMPLE = 300
SURE = 0.75
LOWER_LINE = 0.9
LEAST = 0.45
NUMBERS = ("count", "hours", "minutes", "thickness", "money", "size", "frequency")
REPEATABLE = {NOTE, IGNORE, "soles.fitted_on", "checks.value", "checks.grade", "wear_days.worn_on"}
REPEATABLE |= {"any.date", "bench_jobs.work", "pairs.wear_count"}
PAIR_DETAILS = {"pairs.acquired_on", "pairs.construction", "soles.fitted_on", "pairs.price"}
PERSONAL = {"wearers.email", "wearers.telephone", "wearers.first_name", "wearers.last_name"}
PERSONAL |= {"consents.any", "consents.mail", "consents.print_list", "wearers.language"}
WORDS_OF = {
    "soles.material": "material",
    "pairs.construction": "construction",
    "bench_jobs.work": "work",
    "checks.foot": "foot",
    "checks.point": "point",
    "checks.method": "method",
    "checks.grade": "grade",
    "wear_days.surface": "surface",
    "pairs.dress_code": "dress_code",
    "wearers.driving_foot": "driving_foot",
    "wearers.language": "language",
    "soles.cover": "cover",
    "soles.channel": "channel",
    "any.event": "event",
    "wear_days.wet": "yes_no",
    "bench_jobs.advised": "yes_no",
}
SEEN_IN_CELLS = ("soles.material", "pairs.construction", "bench_jobs.work", "any.event")
TWO_VALUES = re.compile(
    r"\s*\D{0,3}(\d{1,2}[.,]\d+)\s*(?:mm)?\s*[/|;-]\s*\D{0,3}(\d{1,2}[.,]\d+)\s*(?:mm)?\s*"
)
_DATES_IN_HEADER = (
    re.compile(r"\d{4}-\d{2}(-\d{2})?"),
    re.compile(r"\d{1,2}[./]\d{1,2}[./]\d{2,4}|\d{1,2}[./]\d{4}"),
    re.compile(r"[A-Za-zÀ-ÿ]{3,9}\.?\s+\d{4}"),
)


@dataclass(frozen=True)
class Use:
    """What one column is read as; `facets` holds foot, point, day and unit of its header."""

    at: int
    header: str
    target: str
    sure: bool
    facets: Mapping[str, str] = field(default_factory=dict)
    day: date | None = None
    period: tuple[date, date] | None = None

    @property
    def name(self) -> str:
        """The header on one line."""
        return self.header.replace("\n", " ")


@dataclass(frozen=True)
class Look:
    """Shares of cells that are dates, numbers, addresses and so on; `cells` is a sample."""

    cells: tuple[Cell, ...]
    dates: float
    numbers: float
    mails: float
    phones: float
    flags: float

    def words(self, column: str) -> float:
        """Return the share of cells that are words of a column."""
        if not self.cells:
            return 0.0
        hits = sum(bool(word_of(column, text_of(cell))[0]) for cell in self.cells)
        return hits / len(self.cells)


def says_day(header: str) -> bool:
    """Whether a header says that its cells are days."""
    scores = header_scores(header)
    return any(s >= 0.6 and TARGETS[t].kind in ("date", "dates") for t, s in scores.items())


def look_at(cells: Sequence[Cell], style: DateStyle, header: str) -> Look:
    """Look at the cells of a column that say something.

    Without a word for days in the header, 4.5 is a number and no day of May.
    """
    style = style if says_day(header) else replace(style, year=None)
    told = tuple(c for c in cells if c is not None and not is_blank(text_of(c)))[:SAMPLE]
    size = max(1, len(told))
    days = [read_days(cell, style) is not None for cell in told]
    return Look(
        told,
        sum(days) / size,
        sum(_is_number(c, d) for c, d in zip(told, days, strict=True)) / size,
        sum("@" in text_of(cell) for cell in told) / size,
        sum(bool(re.fullmatch(r"[+\d][\d\s()/.-]{6,}", text_of(c))) for c in told) / size,
        sum(bool(word_of("yes_no", text_of(c), near=False)[0]) for c in told) / size,
    )


def _is_number(cell: Cell, is_day: bool) -> bool:
    if isinstance(cell, str) and TWO_VALUES.fullmatch(cell):
        return True
    if isinstance(cell, str) and re.search(r"\d[./-]\d+[./-]\d", cell):
        return False
    plainly = isinstance(cell, float) or len(re.sub(r"[^\W\d_]", "", text_of(cell))) >= 0.4 * len(
        text_of(cell)
    )
    return read_number(cell) is not None and plainly and not (is_day and isinstance(cell, date))


def propose_uses(block: Block, style: DateStyle) -> list[Use]:
    """Propose a target for each column of a block."""
    looks = [look_at(block.column(n), style, block.headers[n]) for n in range(len(block.headers))]
    scores = [_scores(block, n, looks[n], style) for n in range(len(block.headers))]
    _weigh_context(block, scores)
    chosen: dict[int, tuple[str, float]] = {n: (target, 1.0) for n, target in block.fixed.items()}
    taken = set(block.fixed.values())
    ranked = sorted(
        ((score, n, target) for n, own in enumerate(scores) for target, score in own.items()),
        key=lambda one: (-one[0], block.headers[one[1]], one[2]),
    )
    for score, n, target in ranked:
        if n in chosen or (target in taken and target not in REPEATABLE) or score < LEAST:
            continue
        chosen[n] = (target, score)
        taken.add(target)
    uses = []
    for n in range(len(block.headers)):
        target, score = chosen.get(n, (NOTE, 0.0))
        uses.append(_use(block, n, target, style, sure=score >= SURE))
    return _settle(block, uses, looks)


def _use(block: Block, at: int, target: str, style: DateStyle, *, sure: bool) -> Use:
    header = block.headers[at]
    tokens = plain(header).split()
    facets = {}
    for name in ("foot", "point", "method"):
        found = [w for t in tokens if (w := word_of(name, t, near=False)[0])]
        if found:
            facets[name] = "both" if len(set(found)) > 1 and name == "foot" else found[0]
    unit = unit_in(header)
    if unit:
        facets["unit"] = unit
    day = None
    if target.startswith("checks."):
        day = _day_in(header, style)
    if day is None and target.startswith("checks.") and isinstance(block.heads[at], date):
        day = block.heads[at]  # type: ignore[assignment]
    return Use(at, header, target, sure, facets, day, _period(block, header))


def _period(block: Block, header: str) -> tuple[date, date] | None:
    """Return the first and the last day of a year or a month that a header names alone."""
    lines = header.split("\n")
    year = next((int(line) for line in lines if is_year(line)), None)
    if year and len(lines) == 1:
        return date(year, 1, 1), date(year, 12, 31)
    axis = axis_of(lines[-1], DateStyle())
    if axis is None or axis.kind != "month":
        return None
    year = axis.day.year if axis.day else year or month_and_year_in(block.title)[1]
    if year is None:
        return None
    return date(year, axis.value, 1), date(year, axis.value, monthrange(year, axis.value)[1])


def _day_in(header: str, style: DateStyle) -> date | None:
    """Return the day that a header names beside other words."""
    for pattern in _DATES_IN_HEADER:
        for found in pattern.finditer(header):
            day = read_day(found[0], style)
            if day is not None:
                return day.day
    return None


def _scores(block: Block, at: int, look: Look, style: DateStyle) -> dict[str, float]:
    header = re.sub(r"\s*[#(]?\d+\)?$", "", block.headers[at]).strip() or block.headers[at]
    named = {} if header == HEADING else dict(header_scores(header))
    if "\n" in header:
        for target, score in header_scores(header.rsplit("\n", 1)[1]).items():
            named[target] = max(named.get(target, 0.0), LOWER_LINE * score)
    tokens = plain(header).split()
    facet = any(word_of(c, t, near=False)[0] for t in tokens for c in ("foot", "point"))
    measured = look.numbers + look.words("grade") > 0.5 and look.numbers > 0.2
    if (facet or unit_in(header)) and measured and "hours" not in tokens:
        plain_mm = unit_in(header) and not facet
        named["checks.value"] = max(named.get("checks.value", 0.0), 0.6 if plain_mm else 1.0)
    if _period(block, block.headers[at]) is not None and look.numbers > 0.6:
        return {"pairs.wear_count": 0.8 * _suits("pairs.wear_count", look)}
    if facet and look.words("grade") > 0.6:
        named["checks.grade"] = 1.0
    if _day_in(header, style) and look.numbers > 0.6:
        named["checks.value"] = max(named.get("checks.value", 0.0), 0.9)
    out = {
        target: score * (0.3 + 0.7 * _suits(target, look))
        for target, score in named.items()
    }
    for target, score in _by_look(block, at, look).items():
        out[target] = max(out.get(target, 0.0), score)
    return out


def _suits(target: str, look: Look) -> float:
    """Return how well the cells suit a target, 0 to 1."""
    if not look.cells:
        return 1.0
    kind = TARGETS[target].kind
    text = 1.0 - max(look.dates, look.numbers)
    if kind in ("date", "dates"):
        refusals = sum(word_of("yes_no", text_of(c), near=False)[0] == "no" for c in look.cells)
        return min(1.0, look.dates * len(look.cells) / max(1, len(look.cells) - refusals))
    if kind == "count":
        return look.numbers if look.dates < 0.5 or look.numbers > 0.9 else 0.0
    if kind in ("frequency", "hours"):
        return max(look.numbers, 0.6 if look.dates < 0.3 else 0.0)
    if kind == "thickness":
        fitting = [v for cell in look.cells if (v := read_number(cell)) is not None and v <= 48]
        return min(look.numbers, len(fitting) / len(look.cells)) if look.numbers else 0.0
    if kind in NUMBERS:
        return look.numbers
    if kind == "email":
        return look.mails
    if kind == "phone":
        return max(look.phones, look.numbers, 0.3)
    if kind == "flag":
        return max(look.flags, 0.4)
    if kind == "consent":
        return max(look.flags, look.dates, look.words("consent_channel"), 0.3)
    if kind == "unit":
        return sum(bool(unit_in(text_of(c)) or plain(text_of(c)) == "in") for c in look.cells) / len(
            look.cells
        )
    if kind in ("word", "work", "event", "language"):
        floor = 0.5 if target in SEEN_IN_CELLS else 0.1
        return max(floor * text, look.words(WORDS_OF[target]))
    if kind == "currency":
        return 1.0 - max(look.dates, look.numbers)
    if kind in ("label", "name"):
        return max(0.15, text)
    return 1.0


def _by_look(block: Block, at: int, look: Look) -> dict[str, float]:
    """Propose targets for a column whose header says nothing."""
    if not look.cells:
        return {}
    counted = [read_number(cell) for cell in look.cells]
    if len(plain(block.headers[at])) < 4 and counted == list(range(1, len(counted) + 1)):
        return {IGNORE: 0.6}
    if look.mails > 0.7:
        return {"wearers.email": 0.6}
    if look.dates > 0.8 and look.numbers < 0.9:
        return {"any.date": 0.5}
    if block.headers[at] == HEADING and any(
        month_and_year_in(text_of(c)) != (None, None) for c in look.cells
    ):
        return {IGNORE: 0.6}
    out = {t: 0.55 for t in SEEN_IN_CELLS if look.words(WORDS_OF[t]) > 0.7}
    text = 1.0 - max(look.dates, look.numbers, look.mails, look.phones, look.flags)
    lengths = sorted(len(text_of(cell)) for cell in look.cells)
    if text > 0.8 and 2 < lengths[len(lengths) // 2] <= 40:
        out["wearers.name" if block.headers[at] == HEADING else "pairs.label"] = 0.47 - 0.001 * at
    return out


def _weigh_context(block: Block, scores: list[dict[str, float]]) -> None:
    """Prefer targets of the tables that other columns and the titles name."""
    votes = {
        max(own, key=lambda t: own[t]).partition(".")[0]
        for own in scores
        if own and max(own.values()) >= 0.9 and list(own.values()).count(max(own.values())) == 1
    }
    titled = word_of("table", plain(block.title))[0]
    names = {t for own in scores for t, score in own.items() if score >= 0.8}
    personal = bool(names & PERSONAL)
    for own in scores:
        for target in own:
            table = target.partition(".")[0]
            own[target] += 0.04 * (table in votes) + 0.06 * (table == titled)
        if own.get("wearers.name", 0) >= 0.9 and own.get("pairs.label", 0) >= 0.9:
            own["wearers.name" if personal else "pairs.label"] += 0.3
        if "bench_jobs.price" in own and "pairs.price" in own:
            own["bench_jobs.price" if "bench_jobs" in votes else "pairs.price"] += 0.1


def _settle(block: Block, uses: list[Use], looks: list[Look]) -> list[Use]:
    """Decide what only all columns together tell: bare dates, bare thickness."""
    targets = {use.target for use in uses}
    described = bool(targets & PAIR_DETAILS)
    out = []
    for use in uses:
        target = use.target
        if target == "any.date" and "any.event" not in targets:
            named = header_scores(use.header).get("any.date", 0.0) > LEAST
            bare = named or use.header.startswith("column ")
            target = _meaning_of_date(block, targets) if bare or not described else NOTE
            targets = targets | {target}
        if target == "checks.value" and use.header and not use.facets.get("foot"):
            target = _meaning_of_thickness(use, targets)
        if target == "soles.thickness" and "checks.checked_on" in targets | {_date_of(block, uses)}:
            target = "checks.value"
        out.append(replace(use, target=target))
    del looks
    return out


def _date_of(block: Block, uses: list[Use]) -> str:
    targets = {use.target for use in uses}
    if any(use.target == "any.date" for use in uses) and "any.event" not in targets:
        return _meaning_of_date(block, targets)
    return ""


def _meaning_of_date(block: Block, targets: set[str]) -> str:
    """Tell of what a bare `Date` is the day, by the other columns of its row."""
    tables = {target.partition(".")[0] for target in targets}
    titled = word_of("table", plain(block.title))[0]
    if {"checks.value", "checks.grade"} & targets and "checks.checked_on" not in targets:
        return "checks.checked_on"
    if "bench_jobs.work" in targets and "bench_jobs.received_on" not in targets:
        return "bench_jobs.received_on"
    if "wear_days" in tables and "wear_days.worn_on" not in targets:
        return "wear_days.worn_on"
    by_title = {
        "wear_days": "wear_days.worn_on",
        "checks": "checks.checked_on",
        "bench_jobs": "bench_jobs.received_on",
        "soles": "soles.fitted_on",
        "pairs": "pairs.acquired_on",
    }
    if titled in by_title and by_title[titled] not in targets:
        return by_title[titled]
    if "soles.thickness" in targets and "soles.material" not in targets:
        return "checks.checked_on"
    if {"soles.material", "soles.thickness"} & targets and "soles.fitted_on" not in targets:
        return "soles.fitted_on"
    if {"pairs.price", "pairs.construction", "pairs.size_eu"} & targets:
        return "pairs.acquired_on" if "pairs.acquired_on" not in targets else NOTE
    if targets & PERSONAL and "soles.fitted_on" not in targets:
        return "soles.fitted_on"
    return "wear_days.worn_on" if "wear_days.worn_on" not in targets else NOTE


def _meaning_of_thickness(use: Use, targets: set[str]) -> str:
    """Tell a thickness when new from one that was measured, where the header does not."""
    bare = plain(use.header) in ("mm", "thickness mm", "value", "reading", "iron")
    measured = {"checks.checked_on", "checks.foot", "checks.point", "any.date", "any.event"}
    if bare and not use.facets.get("point") and not measured & targets:
        return "soles.thickness" if "soles.thickness" not in targets else "checks.value"
    return "checks.value"
