"""Wear log: what has been logged, as checked frames that the model can trust?

`WearLog` gathers the five tables of `forecast.frames` that the model reads. `wear_log` brings loose
frames into the contract (dtypes, defaults, order) or raises `BadFrame` naming table and column.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

import narwhals
import numpy as np
import pandas as pd

from solespan.forecast.errors import BadArgument, BadFrame
from solespan.forecast.frames import TABLES, Column, Table
from solespan.forecast.units import MM_PER_IRON
from solespan.forecast.values import (
    EARLIEST,
    LATEST,
    BadValue,
    accepted,
    bounds,
    day_of,
    outside,
    reader_of,
)

__all__ = ["LogColumns", "WearLog", "conform", "wear_log"]

DATE_DTYPE = "datetime64[s]"
# What an object of a column that is neither text nor missing may be.
_OBJECTS: dict[str, tuple[type, ...]] = {
    "date": (date, np.datetime64),
    "number": (int, float, np.number, Decimal),
    "integer": (int, float, np.number, Decimal),
    "flag": (bool, np.bool_, int, float),
}


@dataclass(frozen=True)
class WearLog:
    """Checked frames: `wearers`, `pairs`, `soles`, `wear_days`, `checks`, `bench_jobs`, `layers`.

    Columns, units and bounds are those of `forecast.frames.TABLES`. Rows are sorted by key. Dates
    are `datetime64[s]` at midnight. Flags are bool. Missing numbers are NaN, missing words None.

    Examples
    --------
    >>> from solespan.forecast import wear_log
    >>> from solespan.synthetic_data.scenarios import world
    >>> made = world("score_world", seed=1, n_pairs=2)
    >>> log = wear_log(**made.frames)
    >>> early = log.until("2025-01-01")
    >>> len(early.checks) < len(log.checks)
    True
    >>> log.of_wearers([]).pairs.empty
    True
    """

    wearers: pd.DataFrame
    pairs: pd.DataFrame
    soles: pd.DataFrame
    wear_days: pd.DataFrame
    checks: pd.DataFrame
    bench_jobs: pd.DataFrame
    layers: pd.DataFrame

    def until(self, as_of: str | pd.Timestamp) -> WearLog:
        """The log as it could be known on the evening of `as_of`: nothing later remains."""
        as_of = day_of("as_of", as_of)
        soles = _before(self.soles, "fitted_on", as_of, then=("removed_on",))
        jobs = _before(self.bench_jobs, "received_on", as_of, then=("finished_on", "returned_on"))
        return replace(
            self,
            soles=soles,
            wear_days=_before(self.wear_days, "worn_on", as_of),
            checks=_before(self.checks, "checked_on", as_of),
            bench_jobs=jobs,
            layers=_layers_until(self.layers, as_of),
        )

    def of_wearers(self, wearer_ids: Iterable[str]) -> WearLog:
        """The part of the log that belongs to some wearers."""
        if isinstance(wearer_ids, str) or not isinstance(wearer_ids, Iterable):
            raise BadArgument("wearer_ids", wearer_ids, "a list of wearer_id")
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
            layers=part(self.layers),
        )


@dataclass(frozen=True)
class LogColumns:
    """The tables of a `WearLog` as arrays by column, for a forecast of few rows.

    Rows, order and units are the same. Words are objects; a missing one is None.
    """

    wearers: Mapping[str, np.ndarray]
    pairs: Mapping[str, np.ndarray]
    soles: Mapping[str, np.ndarray]
    wear_days: Mapping[str, np.ndarray]
    checks: Mapping[str, np.ndarray]
    bench_jobs: Mapping[str, np.ndarray]
    layers: Mapping[str, np.ndarray]


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


def _layers_until(layers: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
    """Layers fitted by a day, an unknown day among them; a later removal is not known yet."""
    if layers.empty:
        return layers
    known = layers[~(layers["fitted_on"] > as_of)].reset_index(drop=True)
    return known.assign(removed_on=known["removed_on"].mask(known["removed_on"] > as_of))


def wear_log(
    pairs: Any,
    soles: Any,
    wear_days: Any = None,
    checks: Any = None,
    wearers: Any = None,
    bench_jobs: Any = None,
    layers: Any = None,
) -> WearLog:
    """Check loose frames and gather them.

    Parameters
    ----------
    pairs, soles, wear_days, checks, wearers, bench_jobs, layers : DataFrame
        Of pandas, Arrow or polars: tables of `forecast.frames.TABLES`, one row per key, any
        column order. Columns that are not required may be missing. A thickness may be in a column
        of irons instead. A wearer named only in `pairs` is added. Texts are read as cells of
        files are.

    Returns
    -------
    WearLog
        New frames; the inputs are not changed.

    Raises
    ------
    BadFrame
        A required column is missing, a column is unknown, a value cannot be true, a key stands
        twice, or an id is unknown. The message names table, column and what is accepted.

    Examples
    --------
    >>> import pandas as pd
    >>> from solespan.forecast import wear_log
    >>> brown = {"pair_id": "brown", "wearer_id": "ada", "construction": "blake"}
    >>> sole = {"sole_id": "s1", "pair_id": "brown", "fitted_on": "2026-03-01"}
    >>> sole |= {"material": "oak_bark_leather", "nominal_thickness_iron": 9}
    >>> pairs, soles = pd.DataFrame([brown]), pd.DataFrame([sole])
    >>> log = wear_log(pairs, soles)
    >>> log.soles["nominal_thickness_mm"].round(2).tolist()
    [4.76]
    >>> wear_log(pairs.rename(columns={"pair_id": "pair"}), soles)
    Traceback (most recent call last):
    ...
    solespan.forecast.errors.BadFrame: pairs.pair: ... the nearest is 'pair_id'; ...
    """
    given = {
        "wearers": wearers,
        "pairs": pairs,
        "soles": soles,
        "wear_days": wear_days,
        "checks": checks,
        "bench_jobs": bench_jobs,
        "layers": layers,
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
    for name in ("soles", "wear_days", "checks", "bench_jobs", "layers"):
        unknown = pd.Index(frames[name]["pair_id"].unique()).difference(pair_ids)
        if len(unknown):
            near = difflib.get_close_matches(str(unknown[0]), pair_ids, n=1)
            hint = f"; the nearest is {near[0]!r}" if near else ""
            raise BadFrame(f"{name}.pair_id: {unknown[0]!r} is not a pair_id of pairs{hint}")
    _refuse_untrue(frames["soles"], frames["checks"])
    return WearLog(**frames)


def _refuse_untrue(soles: pd.DataFrame, checks: pd.DataFrame) -> None:
    """Refuse a sole that came off before it was fitted, and a check without one result."""
    early = soles[soles["removed_on"] < soles["fitted_on"]]
    if len(early):
        row = early.iloc[0]
        raise BadFrame(
            f"soles.removed_on: {row['removed_on'].date()} of sole {row['sole_id']!r} is before "
            f"its fitted_on {row['fitted_on'].date()}; give that day or a later one"
        )
    results = checks["value_mm"].notna().astype(int) + checks["grade"].notna()
    odd = checks[results != 1]
    if len(odd):
        row = odd.iloc[0]
        given = "neither a thickness nor a grade" if results[odd.index[0]] == 0 else "both"
        raise BadFrame(
            f"checks.value_mm: the check of {row['pair_id']!r} on {row['checked_on'].date()} has "
            f"{given}; give exactly one of value_mm, value_iron and grade"
        )


def conform(frame: Any, table: Table) -> pd.DataFrame:
    """Bring one frame into its contract: every stored column, its dtype, its bounds, key order.

    Raises `BadFrame` naming the table, the column and what is accepted.
    """
    given = _in_mm(_known_columns(_as_pandas(frame, table), table), table)
    out = pd.DataFrame({c.name: _column(given, c, table) for c in table.stored})
    keys = list(table.key)
    if out.duplicated(keys).any():
        row = out.loc[out.duplicated(keys), keys].iloc[0].to_dict()
        raise BadFrame(f"{table.name}: the key {row} is in more than one row")
    return out.sort_values(keys, kind="stable").reset_index(drop=True)


def _as_pandas(frame: Any, table: Table) -> pd.DataFrame:
    if frame is None:
        return pd.DataFrame()
    if isinstance(frame, pd.DataFrame):
        return frame
    try:
        return pd.DataFrame(narwhals.from_native(frame, eager_only=True).to_pandas())
    except TypeError:
        kind = type(frame).__name__
        raise BadFrame(
            f"{table.name}: this is a {kind}; give a frame of pandas, Arrow or polars"
        ) from None


def _known_columns(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    for name in frame.columns:
        if name not in table.by_name:
            near = difflib.get_close_matches(str(name), table.by_name, n=1, cutoff=0.4)
            hint = f"the nearest is {near[0]!r}; " if near else ""
            known = ", ".join(table.by_name)
            raise BadFrame(
                f"{table.name}.{name}: this column is unknown; {hint}rename it or leave it out. "
                f"Known are {known}"
            )
    if not frame.columns.is_unique:
        twice = frame.columns[frame.columns.duplicated()][0]
        raise BadFrame(f"{table.name}.{twice}: two columns have this name; leave one out")
    return frame


def _in_mm(frame: pd.DataFrame, table: Table) -> pd.DataFrame:
    """Turn columns in irons into millimetres, beside a column of millimetres where it is empty."""
    for column in table.columns:
        if column.iron_of and column.name in frame:
            iron = _column(frame, column, table, required=False)
            target = table.by_name[column.iron_of]
            mm = _column(frame, target, table, required=False)
            if (iron.notna() & mm.notna()).any():
                raise BadFrame(
                    f"{table.name}.{column.name}: {column.iron_of} is given too; give one of them"
                )
            given = mm.fillna(iron * MM_PER_IRON).to_numpy()
            frame = frame.drop(columns=column.name).assign(**{column.iron_of: given})
    return frame


def _column(
    frame: pd.DataFrame, column: Column, table: Table, *, required: bool = True
) -> pd.Series:
    where = f"{table.name}.{column.name}"
    required = required and column.required
    if column.name not in frame:
        if required and len(frame):
            raise BadFrame(f"{where}: this column is required and missing")
        values = pd.Series([None] * len(frame), index=frame.index, dtype=object)
    else:
        values = frame[column.name]
    try:
        out = _as_kind(values, column)
    except BadValue as cause:
        raise BadFrame(f"{where}: {cause}; give {cause.accepted}") from None
    except (ValueError, TypeError) as cause:
        raise BadFrame(f"{where}: {cause}; give {accepted(column)}") from None
    if required and out.isna().any():
        raise BadFrame(f"{where}: a value is missing; every row needs one")
    if column.words:
        odd = out.dropna()[~out.dropna().isin(column.words)]
        if len(odd):
            raise BadFrame(f"{where}: {odd.iloc[0]!r} is not {accepted(column)}")
    if column.kind in ("number", "integer"):
        _check_bounds(out, column, where)
    return out.reset_index(drop=True)


def _as_kind(values: pd.Series, column: Column) -> pd.Series:
    if isinstance(values.dtype, pd.CategoricalDtype):
        values = values.astype(values.cat.categories.dtype)
    if column.kind in ("date", "flag", "number", "integer"):
        if values.dtype == object or isinstance(values.dtype, pd.StringDtype):
            values = _read(values, column)
        if column.kind == "flag":
            return _flags(values, default=bool(column.default))
        return _dates(values) if column.kind == "date" else _numbers(values)
    odd = [v for v in values.dropna().unique() if not isinstance(v, str | int | np.integer)]
    if odd:
        raise ValueError(f"{odd[0]} is not a text")
    text = values.astype(object).where(values.notna(), column.default)
    return text.astype("str") if text.notna().all() and len(text) else text.astype(object)


def _read(values: pd.Series, column: Column) -> pd.Series:
    """Read every different text once; an empty one is missing."""
    reader = reader_of(column)
    codes, known = pd.factorize(values)
    told = [reader(v) if isinstance(v, str) and v else v for v in known]
    told = [None if isinstance(v, str) else v for v in told]
    kinds = _OBJECTS[column.kind]
    for value in told:
        if value is not None and (
            not isinstance(value, kinds) or (isinstance(value, bool) and bool not in kinds)
        ):
            raise ValueError(f"{value!r} is not a {column.kind}")
    found = pd.Series([*told, None], dtype=object)
    return pd.Series(found.iloc[codes].to_numpy(), index=values.index, dtype=object)


def _dates(values: pd.Series) -> pd.Series:
    if values.dtype != object and values.notna().any() and values.dtype.kind != "M":
        raise ValueError(f"{values.dropna().iloc[0]} is not a day")
    days: pd.Series = pd.to_datetime(values).dt.tz_localize(None).dt.normalize()
    out = pd.Series(days.to_numpy().astype(DATE_DTYPE), index=values.index)
    far = out.dropna()[~out.dropna().between(pd.Timestamp(EARLIEST), pd.Timestamp(LATEST))]
    if len(far):
        raise ValueError(f"{far.iloc[0].date()} is before {EARLIEST} or after {LATEST}")
    return out


def _numbers(values: pd.Series) -> pd.Series:
    if values.dtype.kind in "bmM":
        raise ValueError(f"{values.iloc[0]} is not a number")
    return pd.to_numeric(values).astype("float64")


def _flags(values: pd.Series, *, default: bool) -> pd.Series:
    odd = values.dropna()[~values.dropna().isin([True, False])]
    if len(odd):
        raise ValueError(f"{odd.iloc[0]} is neither true nor false")
    return values.astype(object).where(values.notna(), default).astype(bool)


def _check_bounds(out: pd.Series, column: Column, where: str) -> None:
    bad = out.dropna()
    bad = bad[~bad.between(*bounds(column)) | bad.abs().eq(float("inf"))]
    if len(bad):
        raise BadFrame(f"{where}: {bad.iloc[0]} is {outside(column)}")
    if column.kind == "integer":
        parts = out.dropna()[out.dropna() % 1 != 0]
        if len(parts):
            raise BadFrame(f"{where}: {parts.iloc[0]} is not a whole number")
