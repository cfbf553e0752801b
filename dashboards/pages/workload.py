"""What does the page of the work ahead say: totals in sentences, months in a table?"""

from __future__ import annotations

from typing import Any

import pandas as pd

from dashboards import wording

__all__ = ["workload_page"]


def workload_page(
    periods: pd.DataFrame, total: pd.DataFrame, *, months: int, currency: str, leans_on: str
) -> dict[str, Any]:
    """Gather the page.

    Parameters
    ----------
    periods, total : DataFrame
        As `forecast.workload.summarise` gives them by month and in total; `periods` with
        `open_hours`.
    leans_on : str
        What the forecast leans on, as a sentence.
    """
    whole = {row["measure"]: row for row in total.to_dict("records")}
    rows = []
    for begins_on, part in periods.groupby("begins_on"):
        of = {row["measure"]: row for row in part.to_dict("records")}
        day = pd.Timestamp(begins_on)  # type: ignore[arg-type]
        rows.append(
            {
                "month": f"{wording.MONTHS[day.month - 1]} {day.year}",
                "jobs": _span(of["jobs"]),
                "hours": _span(of["bench_hours"]),
                "revenue": _span(of["revenue_minor"], 100),
                "open": f"{of['bench_hours']['open_hours']:.0f}",
            }
        )
    materials = [
        {"name": name.removeprefix("use_").replace("_", " "), "span": _span(row)}
        for name, row in whole.items()
        if name.startswith("use_")
    ]
    jobs, hours, revenue = whole["jobs"], whole["bench_hours"], whole["revenue_minor"]
    return {
        "months": months,
        "lead": f"In the next {months} months about {jobs['mean']:.0f} jobs "
        f"({_span(jobs)}) take {hours['mean']:.0f} bench hours ({_span(hours)}) and bring "
        f"{revenue['mean'] / 100:,.0f} {currency} ({_span(revenue, 100)}).",
        "leans_on": leans_on,
        "rows": rows,
        "materials": materials,
        "currency": currency,
    }


def _span(row: dict[Any, Any], scale: float = 1.0) -> str:
    return f"{row['p10'] / scale:,.0f} to {row['p90'] / scale:,.0f}"
