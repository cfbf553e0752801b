"""Words of the year: what is its number of jobs based on, and how did past forecasts do?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from solespan.dashboards import wording

__all__ = ["looks_table", "looks_words", "year_words"]


def year_words(year: Mapping[str, Any]) -> str:
    """Say what the jobs of the coming year are based on.

    Parameters
    ----------
    year : mapping
        `said` by the pairs, `level` of pairs and counts, `last_year`, `half_years`.
    """
    pairs = f"The pairs alone say {year['said']:.0f} jobs in the coming year"
    if not year["half_years"]:
        return (
            f"{pairs}. No half-year of jobs is on record, so the year is based on the pairs alone."
        )
    known = wording.plural(year["half_years"], "past half-year")
    last = year["last_year"]
    before = "" if last is None else f" The year before had {last:.0f}."
    return f"{pairs}; together with {known} of jobs they say {year['level']:.0f}.{before}"


def looks_words(looks: Sequence[Mapping[str, Any]]) -> str:
    """Say how forecasts of past years would have done beside the count of the year before."""
    if not looks:
        return (
            "No past year has been looked back on yet. A running server does so in the "
            "background, once half a year of jobs lies before a past year."
        )
    held = sum(look["p10"] <= look["came"] <= look["p90"] for look in looks)
    off = _off(looks, "level")
    said = (
        f"Forecasts of the last {wording.plural(len(looks), 'year')}, made from what was known "
        f"before, were off by {off:.0f} jobs a year; the interval held {held} of {len(looks)}."
    )
    beside = [look for look in looks if look["last_year"] is not None]
    if not beside:
        return said
    return f"{said} The count of the year before was off by {_off(beside, 'last_year'):.0f}."


def _off(looks: Sequence[Mapping[str, Any]], name: str) -> float:
    return float(sum(abs(look[name] - look["came"]) for look in looks)) / len(looks)


def looks_table(looks: Sequence[Mapping[str, Any]]) -> list[dict[str, str]]:
    """Lay out past years, the newest first."""
    return [
        {
            "year": f"from {look['as_of']}",
            "forecast": f"{look['level']:.0f} ({look['p10']:.0f} to {look['p90']:.0f})",
            "came": f"{look['came']}",
            "pairs": f"{look['said']:.0f}",
            **{
                name: "not known" if look[name] is None else f"{look[name]:.0f}"
                for name in ("last_year", "three_years", "holt_winters")
            },
        }
        for look in looks
    ]
