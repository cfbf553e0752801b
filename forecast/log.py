"""Wear log: what has been logged, as checked frames that the model can trust?

`WearLog` gathers the five tables of `forecast.frames` that the model reads. `wear_log` brings loose
frames into the contract (dtypes, defaults, order) or raises `BadFrame` naming table and column.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from solespan.forecast.errors import BadFrame
from solespan.forecast.frames import TABLES, Column, Table
from solespan.forecast.values import accepted, bounds, outside

__all__ = ["WearLog", "conform", "wear_log"]

DATE_DTYPE = "datetime64[s]"


@dataclass(frozen=True)
class WearLog:
    """Checked frames: `wearers`, `pairs`, `soles`, `wear_days`, `checks`, `bench_jobs`.

    Columns, units and bounds are those of `forecast.frames.TABLES`. Rows are sorted by key. Dates
    are `datetime64[s]` at midnight. Flags are bool. Missing numbers are NaN, missing words None.
    """

    wearers: pd.DataFrame
    pairs: pd.DataFrame
    soles: pd.DataFrame
    wear_days: pd.DataFrame
    checks: pd.DataFrame
    bench_jobs: pd.DataFrame

    def until(self, as_of: pd.Timestamp) -> WearLog:
        """The log as it could be known on the evening of `as_of`: nothing later remains."""
        soles = _before(self.soles, "fitted_on", as_of, then=("removed_on",))
        jobs = _before(self.bench_jobs, "received_on", as_of, then=("finished_on", "returned_on"))
        return replace(
            self,
            soles=soles,
            wear_days=_before(self.wear_days, "worn_on", as_of),
            checks=_before(self.checks, "checked_on", as_of),
            bench_jobs=jobs,
        )

    def of_wearers(self, wearer_ids: Iterable[str]) -> WearLog:
        """The part of the log that belongs to some wearers."""
        keep = set(wearer_ids)
        if keep.issuperset(self.wearers["wearer_id"]):
            return self
        pairs = self.pairs[self.pairs["wearer_id"].isin(keep)]
        of_pairs = set(pairs["pair_id"])

        def part(frame: pd.DataFrame) -> pd.DataFrame:
            return frame[frame["pair_id"].isin(of_pairs)].reset_index(drop=True)

        return WearLog(
            wearers=self.wearers[self.wearers["wearer_id"].isin(keep)].reset_index(drop=True),
            pairs=pairs.reset_index(drop=True),
            soles=part(self.soles),
            wear_days=part(self.wear_days),
            checks=part(self.checks),
            bench_jobs=part(self.bench_jobs),
        )


def _before(
    frame: pd.DataFrame, column: str, as_of: pd.Timestamp, then: Sequence[str] = ()
) -> pd.DataFrame:
    """Rows up to a day, whose later dates are not known yet; the frame itself if that is all."""
    known = frame[column].to_numpy() <= as_of.to_datetime64()
    if not known.all():
        frame = frame[known].reset_index(drop=True)
    for name in then:
        late = frame[name].to_numpy() > as_of.to_datetime64()
        if late.any():
            frame = frame.assign(**{name: frame[name].mask(late)})
    return frame


def wear_log(
    pairs: pd.DataFrame,
    soles: pd.DataFrame,
    wear_days: pd.DataFrame | None = None,
    checks: pd.DataFrame | None = None,
    wearers: pd.DataFrame | None = None,
    bench_jobs: pd.DataFrame | None = None,
) -> WearLog:
    """Check loose frames and gather them.

    Parameters
    ----------
    pairs, soles, wear_days, checks, wearers, bench_jobs : DataFrame
        Tables of `forecast.frames.TABLES`, one row per key, any column order; columns that are
        not required may be missing. A wearer named only in `pairs` is added.

    Returns
    -------
    WearLog
        New frames; the inputs are not changed.

    Raises
    ------
    BadFrame
        A required column is missing, a value cannot be true, a key stands twice, or an id is
        unknown. The message names table and column.
    """
    given = {
        "wearers": wearers,
        "pairs": pairs,
        "soles": soles,
        "wear_days": wear_days,
        "checks": checks,
        "bench_jobs": bench_jobs,
    }
    frames = {name: conform(frame, TABLES[name]) for name, frame in given.items()}
    known = pd.Index(frames["wearers"]["wearer_id"])
    missing = pd.Index(frames["pairs"]["wearer_id"].unique()).difference(known)
    if len(missing):
        extra = conform(pd.DataFrame({"wearer_id": missing}), TABLES["wearers"])
        frames["wearers"] = (
            pd.concat([frames["wearers"], extra]).sort_values("wearer_id").reset_index(drop=True)
            if len(known)
            else extra
        )
    pair_ids = pd.Index(frames["pairs"]["pair_id"])
    for name in ("soles", "wear_days", "checks", "bench_jobs"):
        unknown = pd.Index(frames[name]["pair_id"].unique()).difference(pair_ids)
        if len(unknown):
            raise BadFrame(f"{name}.pair_id: {unknown[0]!r} is not a pair_id of pairs")
    return WearLog(**frames)


def conform(frame: pd.DataFrame | None, table: Table) -> pd.DataFrame:
    """Bring one frame into its contract: every stored column, its dtype, its bounds, key order.

    Raises `BadFrame` naming the table, the column and what is accepted.
    """
    if frame is None:
        frame = pd.DataFrame()
    columns = {c.name: _column(frame, c, table) for c in table.stored}
    out = pd.DataFrame(columns)
    keys = list(table.key)
    if out.duplicated(keys).any():
        row = out.loc[out.duplicated(keys), keys].iloc[0].to_dict()
        raise BadFrame(f"{table.name}: the key {row} is in more than one row")
    return out.sort_values(keys, kind="stable").reset_index(drop=True)


def _column(frame: pd.DataFrame, column: Column, table: Table) -> pd.Series:
    where = f"{table.name}.{column.name}"
    if column.name not in frame:
        if column.required and len(frame):
            raise BadFrame(f"{where}: this column is required and missing")
        values = pd.Series([None] * len(frame), index=frame.index, dtype=object)
    else:
        values = frame[column.name]
    try:
        out = _as_kind(values, column)
    except (ValueError, TypeError) as cause:
        raise BadFrame(f"{where}: not every value is a {column.kind} ({cause})") from None
    if column.required and out.isna().any():
        raise BadFrame(f"{where}: a value is missing; every row needs one")
    if column.words:
        odd = out.dropna()[~out.dropna().isin(column.words)]
        if len(odd):
            raise BadFrame(f"{where}: {odd.iloc[0]!r} is not {accepted(column)}")
    if column.kind in ("number", "integer"):
        _check_bounds(out, column, where)
    return out.reset_index(drop=True)


def _as_kind(values: pd.Series, column: Column) -> pd.Series:
    if column.kind == "date":
        days: pd.Series = pd.to_datetime(values).dt.tz_localize(None).dt.normalize()
        return pd.Series(days.to_numpy().astype(DATE_DTYPE), index=values.index)
    if column.kind in ("number", "integer"):
        return pd.to_numeric(values).astype("float64")
    if column.kind == "flag":
        return values.astype(object).where(values.notna(), bool(column.default)).astype(bool)
    text = values.astype(object).where(values.notna(), column.default)
    return text.astype("str") if text.notna().all() and len(text) else text.astype(object)


def _check_bounds(out: pd.Series, column: Column, where: str) -> None:
    bad = out.dropna()
    bad = bad[~bad.between(*bounds(column)) | bad.abs().eq(float("inf"))]
    if len(bad):
        raise BadFrame(f"{where}: {bad.iloc[0]} is {outside(column)}")
