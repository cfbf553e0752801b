"""How well are shops forecast whose customers log little or nothing?

Twelve silent shops, six that differ (fewer readings, or opened lately), nine in which some log,
three in which every pair was looked at once, and forty collectors who have only a thumb (with
--quick one small shop of each kind).
"""

from __future__ import annotations

import statistics

import pandas as pd

from tests.recovery.pooled import Bar, Share
from tests.recovery.shop_figures import BARS, MIXED_BARS, figures
from tests.recovery.shops import MIXED, SILENT, SPARSE, VARIED, ShopScored, score_shops

Row = dict[str, object]
QUICK = (SILENT[:1], VARIED[:1], MIXED[:1], SPARSE[:1])
QUICK_PAIRS = 90
PROMISE = "past the limit on the send-by day"
HOLDS = "80 % interval holds"
BARS_OF: dict[str, dict[str, Bar]] = {
    "silent_shop": BARS | {PROMISE: Bar(0.08, 0.12)},
    "silent_shop_no_readings": {"model over plain": Bar(high=0.95)},
    "mixed_shop_10": MIXED_BARS,
    "mixed_shop_50": MIXED_BARS,
    "mixed_shop_late": MIXED_BARS,
    "one_check_shop": {PROMISE: Bar(high=0.15), HOLDS: BARS[HOLDS]},
    "solo_thumb": {PROMISE: Bar(0.08, 0.12), HOLDS: BARS[HOLDS]},
}


def run(quick: bool) -> list[Row]:
    """Rows of every figure, by kind of shop."""
    groups = QUICK if quick else (SILENT, VARIED, MIXED, SPARSE)
    rows: list[Row] = []
    for worlds in groups:
        rows += rows_of(score_shops(worlds, QUICK_PAIRS if quick else None))
    return rows


def rows_of(scored: list[ShopScored]) -> list[Row]:
    """Lay the figures out by kind of shop."""
    pairs = pd.concat([s.pairs for s in scored], ignore_index=True)
    rows = [_fit_row(scored)]
    for name, part in pairs.groupby("world", sort=False):
        rows += _figure_rows(str(name), part)
        if name == "silent_shop":
            rows.append(_worst_row(part))
        if name == "solo_thumb":
            low = part["firm_mm"] < part["firm_mm"].median()
            for place, of in (("below", low), ("above", ~low)):
                share = figures(part[of])[PROMISE]
                rows.append(
                    _share_row(f"{name}, cut points {place} the middle: {PROMISE}", share, None)
                )
        rows += _workload_rows(str(name), [s for s in scored if s.pairs["world"].eq(name).any()])
    return rows


def _figure_rows(name: str, pairs: pd.DataFrame) -> list[Row]:
    bars = BARS_OF.get(name, {})
    return [
        _share_row(f"{name}: {of}", share, bars.get(of)) for of, share in figures(pairs).items()
    ]


def _worst_row(pairs: pd.DataFrame) -> Row:
    """The highest ratio of the scores of one shop."""
    by_seed = [figures(part)["model over plain"] for _, part in pairs.groupby("seed")]
    worst = max(by_seed, key=lambda share: share.value)
    return _share_row("silent_shop: model over plain, worst shop", worst, Bar(high=0.88))


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
