"""Sole page.

What does the page say of a pair's work: where it is, which sole is on it, and what can be done?

Takes stored records as plain dicts and gives words.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from solespan.dashboards import wording
from solespan.forecast.layers.thickness import is_guard

__all__ = ["sole_page"]

RESOLING = ("full_sole", "half_sole")


def sole_page(job: Mapping[str, Any] | None, sole: Mapping[str, Any] | None) -> dict[str, Any]:
    """Gather the page.

    Parameters
    ----------
    job : mapping or None
        The open bench job, with `at_bench` where it is the shop's own order.
    sole : mapping or None
        The sole that is on the pair.
    """
    return {
        "job": None if job is None else _job(job),
        "sole": "" if sole is None else _sole(sole),
        "guarded": sole is not None and _is_guard(sole),
        "material": "oak_bark_leather" if sole is None else sole["material"],
        "thickness": "" if sole is None else f"{sole['nominal_thickness_mm']:g}",
        "limit": "" if sole is None or sole["limit_mm"] is None else f"{sole['limit_mm']:g}",
    }


def _is_guard(sole: Mapping[str, Any]) -> bool:
    return is_guard(sole["material"], sole["nominal_thickness_mm"], sole["cover"])


def _job(job: Mapping[str, Any]) -> dict[str, Any]:
    promised = job["promised_on"]
    said = "" if promised is None else f", promised for {wording.long_date(pd.Timestamp(promised))}"
    return {
        "words": f"Away since {wording.long_date(pd.Timestamp(job['received_on']))} for a "
        f"{wording.spaced(job['work'])}{said}.",
        "resoling": job["work"] in RESOLING,
        "at_bench": job["at_bench"],
        "job_id": job["job_id"],
    }


def _sole(sole: Mapping[str, Any]) -> str:
    return (
        f"On the pair now: {wording.spaced(sole['material'])}, "
        f"{wording.millimetres(sole['nominal_thickness_mm'])} when new, fitted "
        f"{wording.long_date(pd.Timestamp(sole['fitted_on']))}."
    )
