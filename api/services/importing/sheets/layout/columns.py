"""Column proposals: which target does each column of a block mean?

A proposal weighs the words of the header, the look of the cells, and what the other columns are.
A person's choice comes before it, and the other columns make room for it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from solespan.api.services.importing.sheets.cells.dates import DateStyle
from solespan.api.services.importing.sheets.cells.quantities import unit_in
from solespan.api.services.importing.sheets.cells.words import header_scores, plain, word_of
from solespan.api.services.importing.sheets.layout.blocks import HEADING, Block
from solespan.api.services.importing.sheets.layout.looks import (
    IGNORE,
    Look,
    by_look,
    look_at,
    suits,
)
from solespan.api.services.importing.sheets.layout.meaning import settle
from solespan.api.services.importing.sheets.layout.use import (
    LEAST,
    NOTE,
    PERSONAL,
    Use,
    day_in,
    make_use,
    period_of,
)

__all__ = ["propose_uses"]

SURE = 0.75
LOWER_LINE = 0.9
REPEATABLE = {NOTE, IGNORE, "soles.fitted_on", "checks.value", "checks.grade", "wear_days.worn_on"}
REPEATABLE |= {"any.date", "bench_jobs.work", "pairs.wear_count"}


def propose_uses(
    block: Block, style: DateStyle, choices: Mapping[int, str] | None = None
) -> list[Use]:
    """Propose a target for each column of a block; `choices` holds those of a person."""
    choices = choices or {}
    looks = [look_at(block, n, style) for n in range(len(block.headers))]
    scores = [_scores(block, n, looks[n], style) for n in range(len(block.headers))]
    _weigh_context(block, scores)
    fixed = {**choices, **block.fixed}
    chosen: dict[int, tuple[str, float]] = {n: (target, 1.0) for n, target in fixed.items()}
    taken = set(fixed.values())
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
        uses.append(make_use(block, n, target, style, sure=score >= SURE))
    return settle(block, uses, choices)


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
    if period_of(block, block.headers[at]) is not None and look.numbers > 0.6:
        return {"pairs.wear_count": 0.8 * suits("pairs.wear_count", look)}
    worn = named.get("wear_days.worn_on", 0.0)
    if worn >= 0.8 and look.flags > 0.7 and look.dates < 0.2:
        return {"wear_days.mark": 0.95}
    if facet and look.words("grade") > 0.6 and look.numbers == 0:
        named["checks.grade"] = 1.0
    if day_in(header, style) and look.numbers > 0.6:
        named["checks.value"] = max(named.get("checks.value", 0.0), 0.9)
    out = {target: score * (0.3 + 0.7 * suits(target, look)) for target, score in named.items()}
    for target, score in by_look(block, at, look).items():
        out[target] = max(out.get(target, 0.0), score)
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
