"""Which frames does a page test start from? Builders with sane defaults and named situations."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from solespan.forecast.frames import CHANCE_DAYS, FORECAST, PATH
from solespan.forecast.log import WearLog, wear_log

TODAY = pd.Timestamp("2026-11-25")
WORKLOAD = pd.DataFrame(
    {
        "begins_on": pd.date_range("2026-12-01", periods=12, freq="MS"),
        "measure": "bench_hours",
        "mean": np.linspace(20.0, 44.0, 12),
        **{
            name: np.linspace(20.0, 44.0, 12) * factor
            for name, factor in (
                ("p025", 0.4),
                ("p10", 0.6),
                ("p25", 0.8),
                ("p75", 1.2),
                ("p90", 1.5),
                ("p975", 1.9),
            )
        },
        "open_hours": 150.0,
        "currency": "EUR",
    }
)
WORKLOAD = pd.concat([WORKLOAD, WORKLOAD.assign(measure="revenue_minor")], ignore_index=True)
LEATHER = pd.DataFrame(
    {
        "currency": "EUR",
        "begins_on": pd.date_range("2026-12-01", periods=52, freq="7D"),
        **{
            name: np.linspace(90_000.0, 60_000.0, 52) * by
            for name, by in (("mean", 1), ("p10", 0.8), ("p90", 1.1))
        },
    }
)
LONG_NAME = (
    'The <b>"very best"</b> pair & the one with a name that goes on, past every margin, '
    "Unbrokenwordwithoutanyspaceatallthatnolayoutcanwrapbyitself, for ever"
)
CALIBRATION = pd.DataFrame(
    {
        "within_days": [90, 90, 365],
        "forecasts": [40, 12, 25],
        "said": [0.03, 0.4, 0.9],
        "happened": [0.05, 0.5, 0.88],
        "low": [0.02, 0.35, 0.8],
        "high": [0.1, 0.65, 0.94],
    }
)


@dataclass(frozen=True)
class Rack:
    """Frames of one situation: the log, the forecast rows, and the path of some pairs."""

    log: WearLog
    forecast: pd.DataFrame
    path: pd.DataFrame


def rack(pairs: int = 6, *, label: str | None = None, seed: int = 7) -> Rack:
    """Build a rack whose forecasts go from due to beyond the horizon, in the contract's frames."""
    rng = np.random.default_rng(seed)
    ids = [f"pair-{i:03d}" for i in range(pairs)]
    log = _log(ids, label, rng)
    rows, paths = [], []
    for i, pair_id in enumerate(ids):
        median_days = int(-20 + 1500 * (i / max(6, pairs)) ** 1.5 + rng.integers(0, 40))
        rows += _forecast_rows(pair_id, median_days, rng)
        if i < 4:
            paths.append(_path(pair_id, max(median_days, 60)))
    return Rack(
        log,
        _framed(pd.DataFrame(rows, columns=[c.name for c in FORECAST]), FORECAST),
        _framed(pd.concat(paths) if paths else pd.DataFrame(columns=[c.name for c in PATH]), PATH),
    )


def _framed(frame: pd.DataFrame, columns: tuple) -> pd.DataFrame:
    for column in columns:
        if column.kind == "date":
            frame[column.name] = pd.to_datetime(frame[column.name]).astype("datetime64[s]")
        elif column.kind == "number":
            frame[column.name] = frame[column.name].astype(float)
        elif column.kind == "flag":
            frame[column.name] = frame[column.name].astype(bool)
    return frame.reset_index(drop=True)


def _log(ids: list[str], label: str | None, rng: np.random.Generator) -> WearLog:
    names = ("Brogue, chestnut", "Chelsea, black", "Derby, grain", "Loafer, wine", "Oxford, black")
    fitted = TODAY - pd.Timedelta(days=500)
    wear, checks = [], []
    for pair_id in ids[:4]:
        days = rng.choice(490, size=120, replace=False)
        wear += [
            {
                "pair_id": pair_id,
                "worn_on": TODAY - pd.Timedelta(days=int(d)),
                "wet": bool(rng.random() < 0.2),
                "hours": 8.0,
            }
            for d in days
        ]
        for k, back in enumerate((480, 300, 150, 20)):
            for foot, slope in (("left", 0.55), ("right", 0.48)):
                checks.append(
                    {
                        "pair_id": pair_id,
                        "checked_on": TODAY - pd.Timedelta(days=back),
                        "foot": foot,
                        "point": "ball",
                        "method": "caliper" if k != 2 else "thumb",
                        "value_mm": 4.9 - slope * k if k != 2 else None,
                        "grade": "give" if k == 2 else None,
                    }
                )
    return wear_log(
        pairs=pd.DataFrame(
            {
                "pair_id": ids,
                "wearer_id": ["ada" if i % 3 else "bo" for i in range(len(ids))],
                "label": [label or f"{names[i % 5]} no. {i + 1}" for i in range(len(ids))],
                "construction": "goodyear_welted",
            }
        )
        if ids
        else pd.DataFrame(),
        soles=pd.DataFrame(
            [
                {
                    "sole_id": f"{pair_id}-sole",
                    "pair_id": pair_id,
                    "fitted_on": fitted,
                    "material": "oak_bark_leather",
                    "nominal_thickness_mm": 5.0,
                    "limit_mm": 2.0,
                }
                for pair_id in ids
            ]
        ),
        wear_days=pd.DataFrame(wear),
        checks=pd.DataFrame(checks),
        wearers=pd.DataFrame(
            {"wearer_id": ["ada", "bo"], "name": ["Ada", "Bo"], "driving_foot": ["left", None]}
        ),
    )


def _forecast_rows(pair_id: str, median_days: int, rng: np.random.Generator) -> list[dict]:
    spread = 40 + 0.25 * max(median_days, 0)
    z = {"p05": -1.64, "p10": -1.28, "p25": -0.67, "p50": 0, "p75": 0.67, "p90": 1.28, "p95": 1.64}
    rows = []
    for foot, shift, rate in (("pair", 0, 0.021), ("left", 8, 0.021), ("right", 60, 0.018)):
        due = {}
        for name, k in z.items():
            days = median_days + shift + k * spread
            day = TODAY + pd.Timedelta(days=round(days))
            due[f"due_{name}"] = day if days < 1400 else pd.NaT
        send_by = due["due_p10"]
        rows.append(
            {
                "pair_id": pair_id,
                "sole_id": f"{pair_id}-sole",
                "as_of": TODAY,
                "foot": foot,
                "point": "ball",
                "thickness_mm_p50": 2.0 + 3 * min(1, max(0, median_days) / 1500),
                "rate_mm_per_wear_day_p50": rate * float(rng.uniform(0.9, 1.1)),
                **due,
                **dict.fromkeys(CHANCE_DAYS, 0.05),
                "send_by": send_by,
                "book_by": send_by - pd.Timedelta(days=14),
                "band": _band(median_days) if foot == "pair" else None,
                "first_foot": "left" if foot == "pair" and median_days < 900 else None,
                "reason": "based mostly on other owners' soles: no check yet"
                if median_days > 900
                else "",
            }
        )
    rows += [
        rows[foot] | {"point": point, "rate_mm_per_wear_day_p50": rate}
        for foot in (1, 2)
        for point, rate in (("toe", 0.017 - foot / 1000), ("heel", 0.03 + foot / 1000))
    ]
    return rows


def _band(median_days: int) -> str:
    for until, band in ((15, "stop wearing"), (150, "book in"), (500, "watch")):
        if median_days < until:
            return band
    return "sound"


def _path(pair_id: str, median_days: int) -> pd.DataFrame:
    parts = []
    days = np.arange(-500, 2 * median_days + 200, 10)
    for foot, factor in (("left", 1.0), ("right", 0.88)):
        rate = 3.0 / (500 + median_days) * factor
        middle = 5.0 - rate * (days + 500)
        half = 0.12 + np.clip(days, 0, None) * rate * 0.3
        parts.append(
            pd.DataFrame(
                {
                    "pair_id": pair_id,
                    "sole_id": f"{pair_id}-sole",
                    "foot": foot,
                    "point": "ball",
                    "on_date": TODAY + pd.to_timedelta(days, unit="D"),
                    "thickness_mm_p10": np.clip(middle - half, 0, None),
                    "thickness_mm_p50": np.clip(middle, 0, None),
                    "thickness_mm_p90": np.clip(middle + half, 0, None),
                    "limit_mm": 2.0,
                    "ahead": days > 0,
                }
            )
        )
    return pd.concat(parts)


def with_band(situation: Rack, pair_id: str, band: str) -> Rack:
    """Build the same rack with the band of one pair changed."""
    forecast = situation.forecast.copy()
    forecast.loc[(forecast["pair_id"] == pair_id) & (forecast["foot"] == "pair"), "band"] = band
    return Rack(situation.log, forecast, situation.path)


BENCH_WEEKS = pd.DataFrame(
    {
        "begins_on": pd.date_range("2026-11-30", periods=4, freq="7D"),
        "open_hours": [35.0, 35.0, 0.0, 21.0],
        "hours_as_asked_now": [50.0, 10.0, 20.0, 15.5],
        "hours_levelled": [35.0, 30.0, 10.0, 20.5],
    }
)
OWNER_YEARS = pd.DataFrame(
    {
        "owner": ["follows the plan", "does not"] * 2,
        "soles_past_limit": [0, 3, 1, 2],
        "most_away": [1, 2, 1, 3],
        "most_sent_in_30_days": [1, 2, 1, 2],
    }
)


def of_one(situation: Rack, wearer_id: str = "ada") -> Rack:
    """Build the same rack with every pair one wearer's."""
    log = situation.log
    pairs = log.pairs.assign(wearer_id=wearer_id)
    wearers = log.wearers[log.wearers["wearer_id"] == wearer_id].reset_index(drop=True)
    return Rack(replace(log, pairs=pairs, wearers=wearers), situation.forecast, situation.path)


def what_if(situation: Rack) -> pd.DataFrame:
    """Compare each pair's dates as they are with dates a plan would move by 20 days a pair."""
    rows = situation.forecast
    rows = rows[(rows["foot"] == "pair") & (rows["point"] == "ball")].reset_index(drop=True)
    labels = situation.log.pairs.set_index("pair_id")["label"]
    shift = pd.to_timedelta(20 * np.arange(len(rows)), unit="D")
    out = pd.DataFrame({"pair_id": rows["pair_id"], "label": rows["pair_id"].map(labels)})
    for name in ("due_p10", "due_p50", "due_p90"):
        out[f"{name}_now"] = rows[name]
        out[f"{name}_then"] = rows[name] + shift
    return out


def frames_for(situation: Rack, needs: tuple[str, ...], pair_id: str | None = None) -> list:
    """Gather the frames a registered figure needs, of one pair where `pair_id` is given."""
    every = {
        "forecast": situation.forecast,
        "path": situation.path,
        "pairs": situation.log.pairs,
        "checks": situation.log.checks,
        "wear_days": situation.log.wear_days,
    }
    if pair_id is not None:
        every = {n: f[f["pair_id"] == pair_id].reset_index(drop=True) for n, f in every.items()}
    every["what_if"] = what_if(situation)
    every["calibration"] = CALIBRATION if len(situation.log.pairs) else CALIBRATION.head(0)
    every["workload"] = WORKLOAD if len(situation.log.pairs) else WORKLOAD.head(0)
    every["leather"] = LEATHER if len(situation.log.pairs) else LEATHER.head(0)
    every["bench_weeks"] = BENCH_WEEKS if len(situation.log.pairs) else BENCH_WEEKS.head(0)
    every["owner_years"] = OWNER_YEARS if len(situation.log.pairs) else OWNER_YEARS.head(0)
    return [every[name] for name in needs]
