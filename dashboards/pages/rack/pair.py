"""Pair page: what does the pair page say: sentences first, then what was logged, then the forms?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.dashboards.figures.left_right import left_right
from solespan.dashboards.figures.wear_days import wear_days
from solespan.dashboards.figures.wear_path import wear_path
from solespan.dashboards.order import foot_rows, label_of, pair_rows
from solespan.dashboards.pages.rack.answers import answers
from solespan.dashboards.pages.rack.pictures import picture_of
from solespan.dashboards.pages.rack.sentences import is_gone, pair_sentences
from solespan.dashboards.tables import due_list, readings_table, sole_sentences
from solespan.dashboards.wears_left import wears_short
from solespan.forecast.covariates import LOGGED, REGISTER, Logged
from solespan.forecast.dates.day_words import list_date
from solespan.forecast.dates.points_before import points_before
from solespan.forecast.dates.reasons import FEW_LOGGED, UNLOGGED
from solespan.forecast.frames import FEET, POINTS
from solespan.forecast.log import WearLog

__all__ = ["FORM_NAMES", "GAUGES", "UNITS", "FormState", "form_choices", "pair_page"]

FORM_NAMES = ("wear", "reading")
UNITS = ("mm", "iron")
POINT_HELP = {
    "ball": "middle of the forepart",
    "toe": "the very front",
    "heel": "rear outer corner",
    "waist": "under the arch",
}
GAUGES = {"caliper": "caliper", "depth_gauge": "depth gauge", "ultrasonic": "ultrasonic gauge"}
RECENT_ROWS = 8


@dataclass(frozen=True)
class FormState:
    """What was typed into one form, and what is wrong with it, by field ("" = the whole form).

    `replaceable` says that another record stands there already, which this one may replace.
    `question` says why values are odd, `irons` what they were in irons.
    """

    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)
    replaceable: bool = False
    question: str = ""
    irons: str = ""


def pair_page(
    pair_id: str,
    log: WearLog,
    forecast: pd.DataFrame,
    *,
    today: pd.Timestamp,
    risk: float,
    path: pd.DataFrame,
    do: str = "",
    limit_mm: float | None = None,
    next_checks: pd.DataFrame | None = None,
    reasons: list[str] | None = None,
    drivers: pd.DataFrame | None = None,
    horizon_days: int = wording.DEFAULT_HORIZON_DAYS,
    logged: Mapping[str, Any] | None = None,
    photo_id: str = "",
) -> dict[str, Any]:
    """Gather the pair page, all but its forms.

    Parameters
    ----------
    log : WearLog
        Of any number of pairs, `pair_id` among them.
    forecast : DataFrame
        Columns `frames.FORECAST`; rows of other pairs are left aside.
    path : DataFrame
        Columns `frames.PATH`, of the pair; may be empty.
    do : str
        What to do with a pair at its end, where costs were weighed: a sentence.
    limit_mm : float, optional
        The limit at the ball of the sole on the pair now.
    next_checks : DataFrame, optional
        foot, point, method, interval_days_now, interval_days_after: what a check would narrow.
    reasons : list of str, optional
        Sentences on what drives the date.
    drivers : DataFrame, optional
        driver, effect_percent, low_percent, high_percent, note: the driver `foot` compares the
        faster shoe with the other.
    logged : mapping, optional
        A wear that was logged just now, to change or undo.
    photo_id : str
        The photograph that is the pair's picture; empty = a drawing is.
    """
    mine = forecast[forecast["pair_id"] == pair_id]
    pairs = log.pairs[log.pairs["pair_id"] == pair_id]
    record: Any = pairs.iloc[0].to_dict()
    rows: list[Any] = pair_rows(mine).to_dict("records")
    row = rows[0] if rows else None
    feet = foot_rows(mine).get(pair_id, {})
    checked = log.checks[log.checks["pair_id"] == pair_id]
    checks = readings_table(checked)
    of_pair = mine[(mine["foot"] == "pair") & mine["point"].isin(("heel", "toe"))]
    points: list[Any] = of_pair.to_dict("records")
    due = due_list(mine, pairs, log.wearers, today=today, horizon_days=horizon_days)
    label = label_of(pairs)[pair_id]
    days = log.wear_days[log.wear_days["pair_id"] == pair_id]
    soles = log.soles[log.soles["pair_id"] == pair_id]
    yesterday = today - pd.Timedelta(days=1)
    return {
        "pair_id": pair_id,
        "wearer_id": record["wearer_id"],
        "label": label,
        "today_iso": f"{today:%Y-%m-%d}",
        "worn_today": bool((days["worn_on"] == today).any()),
        "ask_yesterday": (soles["fitted_on"] <= yesterday).any()
        and not (days["worn_on"] == yesterday).any(),
        "logged": None if logged is None else {**logged, "label": label},
        "has_lugs": (soles.loc[soles["removed_on"].isna(), "material"] == "lug_rubber").any(),
        "facts": _facts(record),
        "notes": record["notes"] if pd.notna(record["notes"]) else "",
        "due": due[0],
        "picture": picture_of(record, photo_id),
        "answers": answers(
            row,
            points_before(mine).get(pair_id, []),
            next_checks,
            today=today,
            horizon_days=horizon_days,
            has_sole=bool(soles["removed_on"].isna().any()),
            do=do,
        ),
        "charts": {
            "wear_path": wear_path(path, checked, mine, today=today),
            "left_right": left_right(mine, pairs, today=today),
            "wear_days": wear_days(days, today=today),
        },
        "points": [_point_row(point, today, horizon_days) for point in points],
        "last_check": checks[0]["checked_on"] if checks else "",
        "sentences": pair_sentences(
            row,
            feet,
            limit_mm,
            today=today,
            risk=risk,
            horizon_days=horizon_days,
            has_sole=bool(soles["removed_on"].isna().any()),
        ),
        "pace_unused": pd.notna(record["wears_per_week"]) and _follows_log(row),
        "gone": row is not None and is_gone(row),
        "ask_pace": days.empty and pd.isna(record["wears_per_week"]),
        "as_of": wording.long_date(row["as_of"]) if row else "",
        "drivers": reasons or [],
        "feet_compared": _feet_compared(drivers),
        "next_checks": _next_checks(next_checks),
        "feet": _feet_table(feet, today, horizon_days),
        "checks": checks[:RECENT_ROWS],
        "older_checks": checks[RECENT_ROWS:],
        "soles": sole_sentences(soles),
        **_worn(days),
    }


def _point_row(row: Mapping[str, Any], today: pd.Timestamp, horizon_days: int) -> dict[str, str]:
    """Say the band, the dates and the wears left of the heel or the toe."""
    due = wording.due_sentence(
        row["due_p10"], row["due_p90"], today=today, horizon_days=horizon_days
    )
    by = row["send_by"]
    return {
        "point": str(row["point"]),
        "band": str(row["band"]),
        "due": due,
        "send_by": "" if pd.isna(by) else "now" if by <= today else list_date(by, today),
        "wears": wears_short(row),
    }


def form_choices(method: str = "", unit: str = "") -> dict[str, Any]:
    """List the choices that the forms of the pair page offer; the gauge used last is chosen."""
    return {
        "point_options": [(point, point, POINT_HELP[point]) for point in POINTS],
        "wear_fields": _wear_fields(),
        "gauge_choices": list(GAUGES.items()),
        "unit_choices": [("mm", "mm"), ("iron", "iron (1/48 in)")],
        "gauge": method if method in GAUGES else next(iter(GAUGES)),
        "unit": unit if unit in UNITS else UNITS[0],
    }


def _wear_fields() -> list[dict[str, Any]]:
    """List what the wear form asks beside day and hours: one field for each logged column."""
    every = {c.logged.column.name: c.logged for c in REGISTER}.values()
    return [
        {
            "name": one.column.name,
            "kind": one.column.kind,
            "label": one.label,
            "first": one.first,
            "default": one.column.default,
            "options": [(w, one.choices.get(w, wording.spaced(w)), "") for w in one.column.words],
        }
        for one in every
    ]


def _worn_value(one: Logged, value: Any) -> str:
    if one.column.kind == "flag":
        return one.flag_words[bool(value)]
    if pd.isna(value):
        return "not said"
    return wording.spaced(value) if one.column.words else f"{value:g}"


def _facts(pair: dict[str, Any]) -> list[str]:
    facts = [wording.spaced(pair["construction"]), wording.spaced(pair["dress_code"])]
    if pd.notna(pair["size_eu"]):
        facts.append(f"EU size {pair['size_eu']:g}")
    if pd.notna(pair["wears_per_week"]):
        facts.append(f"worn about {_times(pair['wears_per_week'])} a week, as its owner says")
    if pd.notna(pair["in_use_on"]):
        facts.append(f"in use on {wording.short_date(pair['in_use_on'])}, as its owner said")
    return [fact for fact in facts if fact]


def _follows_log(row: Mapping[str, Any] | None) -> bool:
    """Whether a forecast reckons with logged wear, so that a stated pace says nothing more."""
    if row is None or not isinstance(row["reason"], str):
        return False
    return not any(words in row["reason"] for words in (UNLOGGED, FEW_LOGGED))


def _article(words: str) -> str:
    return "An" if words[:1] in "aeiou" else "A"


def _times(count: float) -> str:
    return "once" if count == 1 else "twice" if count == 2 else f"{count:g} times"


def _next_checks(checks: pd.DataFrame | None) -> list[str]:
    """Say what one more check would bring, best first, where it brings something."""
    if checks is None:
        return []
    out = []
    for row in checks.to_dict("records"):
        now, after = row["interval_days_now"], row["interval_days_after"]
        if pd.isna(now) or pd.isna(after) or wording.span(now) == wording.span(after):
            continue
        gauge = f"{GAUGES.get(row['method'], '')} reading"
        how = "A thumb check" if row["method"] == "thumb" else f"{_article(gauge)} {gauge}"
        out.append(
            f"{how} at the {row['point']} of the {row['foot']} shoe: the interval would shrink "
            f"from about {wording.span(now)} to about {wording.span(after)}."
        )
    return out


def _feet_table(
    feet: dict[str, dict[str, Any]], today: pd.Timestamp, horizon_days: int
) -> list[dict[str, str]]:
    return [
        {
            "foot": foot,
            "thickness": _known(feet[foot]["thickness_mm_p50"], 1, 1),
            "rate": _known(feet[foot]["rate_mm_per_wear_day_p50"], 100, 2),
            "due": wording.due_sentence(
                feet[foot]["due_p10"],
                feet[foot]["due_p90"],
                today=today,
                horizon_days=horizon_days,
            ),
        }
        for foot in FEET
        if foot in feet
    ]


def _feet_compared(drivers: pd.DataFrame | None) -> str:
    """Say how much faster one shoe wears than the other, with its 80 % interval."""
    if drivers is None:
        return ""
    rows = drivers[drivers["driver"] == "foot"].to_dict("records")
    if not rows or pd.isna(rows[0]["effect_percent"]):
        return ""
    row = rows[0]
    shoe = str(row["note"]).split()[0]
    low, high = row["low_percent"], row["high_percent"]
    between = (
        f"between {low:.0f} and {high:.0f} % faster"
        if low >= 0
        else f"between {-low:.0f} % slower and {high:.0f} % faster"
    )
    sure = "" if low >= 0 else ", so it may as well be the other shoe"
    return (
        f"At the ball the {shoe} shoe wears about {row['effect_percent']:.0f} % faster than the "
        f"other; four times in five the truth lies {between}{sure}."
    )


def _known(value: float, times: float, digits: int) -> str:
    return f"{value * times:.{digits}f}" if pd.notna(value) else "unknown"


def _worn(days: pd.DataFrame) -> dict[str, Any]:
    recent = days.sort_values("worn_on", ascending=False).head(RECENT_ROWS)
    shown = [one for one in LOGGED if one.heading]
    sentence = ""
    if len(days):
        count, wet = len(days), int(days["wet"].sum())
        sentence = (
            f"Worn on {wording.plural(count, 'day')} since "
            f"{wording.long_date(days['worn_on'].min())}, {wet or 'none'} of them wet."
        )
    return {
        "worn_sentence": sentence,
        "worn_headings": [one.heading for one in shown],
        "worn": [
            {
                "worn_on": wording.short_date(row["worn_on"]),
                "hours": f"{row['hours']:g}" if pd.notna(row["hours"]) else "",
                "values": [_worn_value(one, row[one.column.name]) for one in shown],
            }
            for row in recent.to_dict("records")
        ],
    }
