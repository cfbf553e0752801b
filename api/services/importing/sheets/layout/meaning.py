"""Meaning of bare columns: of what is `Date` the day, and which thickness is `mm`?

Only all columns of a block together tell, and its titles.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from solespan.api.services.importing.sheets.cells.words import header_scores, plain, word_of
from solespan.api.services.importing.sheets.layout.blocks import Block
from solespan.api.services.importing.sheets.layout.use import LEAST, NOTE, PERSONAL, Use

__all__ = ["settle"]

PAIR_DETAILS = {"pairs.acquired_on", "pairs.construction", "soles.fitted_on", "pairs.price"}
JOB_TELLS = {"bench_jobs.work", "bench_jobs.received_on", "bench_jobs.job_id"}
DAY_BY_TITLE = {
    "wear_days": "wear_days.worn_on",
    "checks": "checks.checked_on",
    "bench_jobs": "bench_jobs.received_on",
    "soles": "soles.fitted_on",
    "pairs": "pairs.acquired_on",
}


def settle(block: Block, uses: list[Use], chosen: Collection[int]) -> list[Use]:
    """Decide what bare dates and thicknesses mean; columns that a person chose stay."""
    targets = {use.target for use in uses}
    described = bool(targets & PAIR_DETAILS)
    out = []
    for use in uses:
        target = use.target
        if use.at in chosen:
            out.append(use)
            continue
        if target == "bench_jobs.promised_on" and not JOB_TELLS & targets:
            target = NOTE
        if target == "any.date" and "any.event" not in targets:
            named = header_scores(use.header).get("any.date", 0.0) > LEAST
            bare = named or use.header.startswith("column ")
            target = _meaning_of_date(block, targets) if bare or not described else NOTE
            targets = targets | {target}
        if target == "checks.value" and use.header and not use.facets.get("foot"):
            target = _meaning_of_thickness(use, targets)
        dated = "checks.checked_on" in targets | {_date_of(block, uses)}
        if target == "soles.thickness" and dated and "checks.value" not in targets:
            target = "checks.value"
        out.append(replace(use, target=target))
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
    sole = {"soles.material", "soles.thickness"} & targets
    wanted = (
        ("checks.checked_on", {"checks.value", "checks.grade"} & targets),
        ("bench_jobs.received_on", "bench_jobs.work" in targets),
        ("wear_days.worn_on", "wear_days" in tables),
        (DAY_BY_TITLE.get(titled, NOTE), titled in DAY_BY_TITLE),
        ("checks.checked_on", sole == {"soles.thickness"}),
        ("soles.fitted_on", sole),
        ("pairs.acquired_on", {"pairs.price", "pairs.construction", "pairs.size_eu"} & targets),
        ("soles.fitted_on", targets & PERSONAL),
        ("wear_days.worn_on", True),
    )
    return next((target for target, fits in wanted if fits and target not in targets), NOTE)


def _meaning_of_thickness(use: Use, targets: set[str]) -> str:
    """Tell a thickness when new from one that was measured, where the header does not."""
    bare = plain(use.header) in ("mm", "thickness mm", "value", "reading", "iron")
    measured = {"checks.checked_on", "checks.foot", "checks.point", "any.date", "any.event"}
    if bare and not use.facets.get("point") and not measured & targets:
        return "soles.thickness" if "soles.thickness" not in targets else "checks.value"
    return "checks.value"
