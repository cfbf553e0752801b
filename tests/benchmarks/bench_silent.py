"""How well are shops forecast whose customers log little or nothing?

Twelve silent shops, nine in which some log, three in which every pair was looked at once, and forty
collectors who have only a thumb (with --quick one small shop of each kind).
"""

from __future__ import annotations

import statistics

import pandas as pd

from tests.recovery.pooled import Bar, Share
from tests.recovery.shop_figures import BARS, MIXED_BARS, figures
from tests.recovery.shops import MIXED, SILENT, SPARSE, ShopScored, score_shops

Row = dict[str, object]
QUICK = (SILENT[:1], MIXED[:1], SPARSE[:1])
QUICK_PAIRS = 90
PROMISES = {"one_check_shop": Bar(high=0.15), "solo_thumb": Bar(0.08, 0.12)}
PROMISE = "past the limit on the send-by day"


def run(quick: bool) -> list[Row]:
    """Rows of every figure: silent shops pooled, each kind of shop, each shop's scores."""
    rows: list[Row] = []
    groups = QUICK if quick else (SILENT, MIXED, SPARSE)
    for title, worlds in zip(("silent shops", "", ""), groups, strict=True):
        scored = score_shops(worlds, QUICK_PAIRS if quick else None)
        rows += rows_of(scored, title)
    return rows


def rows_of(scored: list[ShopScored], title: str) -> list[Row]:
    """Lay the figures out: pooled under `title`, if any, then by kind of shop."""
    pairs = pd.concat([s.pairs for s in scored], ignore_index=True)
    rows = [_fit_row(scored)]
    if title:
        rows += _figure_rows(title, pairs, judged=True)
    for name, part in pairs.groupby("world", sort=False):
        rows += _figure_rows(str(name), part, judged=not title)
        if name == "solo_thumb":
            low = part["firm_mm"] < part["firm_mm"].median()
            for place, of in (("below", low), ("above", ~low)):
                share = figures(part[of])[PROMISE]
                rows.append(
                    _share_row(f"{name}, cut points {place} the middle: {PROMISE}", share, None)
                )
        rows += _workload_rows(str(name), [s for s in scored if s.pairs["world"].eq(name).any()])
    return rows


def _figure_rows(title: str, pairs: pd.DataFrame, *, judged: bool) -> list[Row]:
    shares = figures(pairs)
    bars = MIXED_BARS if title.startswith("mixed") else BARS
    if title in PROMISES:
        bars = {PROMISE: PROMISES[title], "80 % interval holds": BARS["80 % interval holds"]}
    return [
        _share_row(f"{title}: {name}", share, bars.get(name) if judged else None)
        for name, share in shares.items()
    ]


def _share_row(name: str, share: Share, bar: Bar | None) -> Row:
    note = f"error {share.error:.3g}; {share.rows} pairs"
    if bar:
        by = "" if bar.met(share) else f", short by {bar.short_by(share):.3g}"
        note += f"; bar {bar}: {'met' if bar.met(share) else 'NOT MET'}{by}"
    return {"name": name, "value": share.value, "unit": _unit(name), "note": note}


def _unit(name: str) -> str:
    if "CRPS" in name:
        return "days"
    return "times" if " over " in name else "share"


def _workload_rows(title: str, scored: list[ShopScored]) -> list[Row]:
    loads = [s.workload for s in scored if s.workload]
    if not loads:
        return []
    true = sum(load["true"] for load in loads)
    held = sum(load["model_p10"] <= load["true"] <= load["model_p90"] for load in loads)
    note = f"{true:.0f} hand-overs; 80 % interval holds {held} of {len(loads)} shops"
    return [
        {
            "name": f"{title}: hand-overs of the year, {name} over true",
            "value": sum(load[name] for load in loads) / max(true, 1.0),
            "unit": "times",
            "note": note if name == "model" else "",
        }
        for name in ("model", "renewal")
    ]


def _fit_row(scored: list[ShopScored]) -> Row:
    settled = sum(s.converged for s in scored)
    seconds = statistics.median(s.fit_s for s in scored)
    note = f"median; {settled} of {len(scored)} settled"
    return {"name": "fit of one shop", "value": seconds, "unit": "s", "note": note}
