"""Log arrays: which integers and floats stand in a log, once its words and ids are numbers?

Everything that the panel and the count of wear days read from a log, taken from its frames once,
as known on one day. Wearers, pairs and soles are sorted so that each one's members are contiguous.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import repeat

import numpy as np
import pandas as pd

from solespan.forecast.errors import TooLittleData
from solespan.forecast.frames import DRESS_CODES, FEET, GRADES, MATERIALS, METHODS, WEARING_POINTS
from solespan.forecast.layers.thickness import LIGHT_KINDS, are_guards
from solespan.forecast.log import LogColumns, WearLog
from solespan.forecast.panel.exposure import (
    NEVER,
    SHIFT,
    DayRows,
    Frame,
    Gaps,
    day_rows,
    days_of,
    silent_gaps,
)
from solespan.forecast.panel.sole_layers import soles_layers, top_pieces

LOGGED_DAYS_AT_LEAST = 20  # with fewer a wearer counts as one who does not log

__all__ = ["LOGGED_DAYS_AT_LEAST", "Checks", "Jobs", "LogArrays", "Soles", "log_arrays"]


@dataclass(frozen=True)
class Soles:
    """Soles, sorted by pair and day fitted: ids, pair, days, material code, mm, whether assumed.

    `end` is the day taken off, or the day the next was fitted; `NEVER` where it is still on.
    `half` and `guard` say what covers a part of the bottom, or lies over the sole. `light` says
    that the pair is women's or children's. `midsole` and `plated` say that a midsole or a toe plate
    was logged with the sole. `heel_mm` and `heel_limit_mm` are of its top piece; NaN: no own limit.
    """

    ids: np.ndarray
    pair: np.ndarray
    fitted: np.ndarray
    end: np.ndarray
    material: np.ndarray
    assumed: np.ndarray
    nominal_mm: np.ndarray
    limit_mm: np.ndarray
    half: np.ndarray
    guard: np.ndarray
    light: np.ndarray
    midsole: np.ndarray
    plated: np.ndarray
    heel_mm: np.ndarray
    heel_limit_mm: np.ndarray

    @property
    def current(self) -> np.ndarray:
        """Whether each is still on."""
        return np.asarray(self.end >= NEVER)

    def on(self, pair: np.ndarray, day: np.ndarray) -> np.ndarray:
        """Index of the sole on a pair on a day: the last one fitted by then; -1 where none."""
        key = self.pair * SHIFT + self.fitted
        place = np.searchsorted(key, pair * SHIFT + day, side="right") - 1
        safe = np.maximum(place, 0)
        fits = (place >= 0) & (pair >= 0) & (self.pair[safe] == pair) & (day <= self.end[safe])
        return np.where(fits, place, -1)


@dataclass(frozen=True)
class Checks:
    """Checks: row of the log's checks up to the day, pair, day, codes (-1: none or waist), mm.

    `lug_mm` is the height of the lugs within the thickness; NaN: not read.
    """

    row: np.ndarray
    pair: np.ndarray
    day: np.ndarray
    foot: np.ndarray
    point: np.ndarray
    method: np.ndarray
    grade: np.ndarray
    mm: np.ndarray
    lug_mm: np.ndarray


@dataclass(frozen=True)
class Jobs:
    """Bench jobs: pair, days received and back (`NEVER`: not yet), day a top piece was on.

    `advised`: the owner came because a forecast said so.
    """

    pair: np.ndarray
    received: np.ndarray
    returned: np.ndarray
    renewed: np.ndarray
    advised: np.ndarray


@dataclass(frozen=True)
class LogArrays:
    """A log as of one day.

    wearer_ids, pair_ids : ndarray of object; only those with a sole.
    driving_foot : ndarray of int, shape (wearers,); 0 left, 1 right, -1 neither.
    pair_wearer, pair_group : ndarray of int, shape (pairs,); group 0: no dress code.
    stated_pair, stated_wearer : ndarray, shape (pairs,), (wearers,)
        Wear days per week as the owner states them, of a pair and of the whole rack; NaN: not.
    in_use : ndarray of int, shape (pairs,)
        Last day on which the owner said that the pair is still worn; 0: never.
    day_pair : ndarray of int, shape (days,), sorted as `days`.
    top_pair, top_day : ndarray of int
        Top pieces that were logged as layers: pair and day.
    """

    today: int
    wearer_ids: np.ndarray
    driving_foot: np.ndarray
    pair_ids: np.ndarray
    pair_wearer: np.ndarray
    pair_group: np.ndarray
    stated_pair: np.ndarray
    stated_wearer: np.ndarray
    in_use: np.ndarray
    soles: Soles
    days: DayRows
    day_pair: np.ndarray
    checks: Checks
    jobs: Jobs
    top_pair: np.ndarray
    top_day: np.ndarray

    @property
    def away(self) -> np.ndarray:
        """Whether each pair is at a shop, shape (pairs,)."""
        out = np.zeros(len(self.pair_ids), bool)
        out[self.jobs.pair[(self.jobs.pair >= 0) & (self.jobs.returned >= NEVER)]] = True
        return out

    @cached_property
    def records_begin(self) -> int:
        """Day of the first wear, check, job or removal that anybody wrote down; `NEVER`: none."""
        ended = self.soles.end[self.soles.end <= self.today]
        never = np.array([NEVER])
        days = (self.days.day, self.checks.day, self.jobs.received, ended, never)
        return int(np.concatenate(days).min())

    @cached_property
    def first_fitted(self) -> np.ndarray:
        """Day on which each wearer's first sole here was fitted, shape (wearers,)."""
        out = np.full(len(self.wearer_ids), SHIFT)
        np.minimum.at(out, self.pair_wearer[self.soles.pair], self.soles.fitted)
        return out

    @cached_property
    def logs(self) -> np.ndarray:
        """Whether each wearer logs wear days, so that a day not logged says something."""
        many = np.bincount(self.pair_wearer[self.day_pair], minlength=len(self.wearer_ids))
        return np.asarray(many >= LOGGED_DAYS_AT_LEAST)

    @cached_property
    def first_logged(self) -> np.ndarray:
        """First day that each wearer logged; `NEVER` where none, shape (wearers,)."""
        out = np.full(len(self.wearer_ids), NEVER)
        np.minimum.at(out, self.pair_wearer[self.day_pair], self.days.day)
        return out

    @cached_property
    def gaps(self) -> Gaps:
        """Stretches in which a wearer logged nothing for much longer than is usual for them."""
        wearer = self.pair_wearer[self.day_pair]
        return silent_gaps(wearer, self.days.day, self.first_fitted, self.today)


def log_arrays(log: WearLog | LogColumns, as_of: pd.Timestamp) -> LogArrays:
    """Take the arrays of a log, using nothing later than `as_of`.

    Raises
    ------
    TooLittleData
        No sole was fitted by `as_of`.
    """
    today = int(np.datetime64(as_of, "D").astype(np.int64))
    fitted = days_of(log.soles["fitted_on"])
    known = fitted <= today
    if not known.any():
        raise TooLittleData(f"no sole was fitted by {as_of.date()}; add a pair with one sole")
    sole_pair_id = _objects(log.soles, "pair_id")[known]
    wearer_ids, pair_ids, pair_wearer, pair_row = _owners(log, sole_pair_id)
    code = _code_of(pair_ids)
    driving = dict(
        zip(
            _objects(log.wearers, "wearer_id"),
            _codes(log.wearers, "driving_foot", FEET),
            strict=True,
        )
    )
    stated = dict(
        zip(
            _objects(log.wearers, "wearer_id"),
            _numbers(log.wearers, "wears_per_week"),
            strict=True,
        )
    )
    worn = day_rows(log.wear_days)
    day_pair = _look_up(_objects(log.wear_days, "pair_id"), code)
    keep = (day_pair >= 0) & (worn.day <= today)
    return LogArrays(
        today=today,
        wearer_ids=wearer_ids,
        driving_foot=np.array([driving.get(w, -1) for w in wearer_ids], dtype=np.int64),
        pair_ids=pair_ids,
        pair_wearer=pair_wearer,
        pair_group=_codes(log.pairs, "dress_code", DRESS_CODES)[pair_row] + 1,
        stated_pair=_numbers(log.pairs, "wears_per_week")[pair_row],
        stated_wearer=np.array([stated.get(w, np.nan) for w in wearer_ids], dtype=float),
        in_use=_said_by(log.pairs["in_use_on"], today)[pair_row],
        soles=_soles(log, known, code, fitted[known], today),
        days=worn if keep.all() else worn.part(keep),
        day_pair=day_pair[keep],
        checks=_checks(log, code, today),
        jobs=_jobs(log, code, today),
        **top_pieces(log, code, today),
    )


def _said_by(column: pd.Series | np.ndarray, today: int) -> np.ndarray:
    """Days of a column that are not later than today, else 0."""
    day = days_of(column)
    return np.where(day <= today, day, 0)


def _objects(frame: Frame, column: str) -> np.ndarray:
    return np.asarray(frame[column], dtype=object)


def _numbers(frame: Frame, column: str) -> np.ndarray:
    return np.asarray(frame[column], dtype=float)


def _code_of(values: tuple[str, ...] | np.ndarray) -> dict[object, int]:
    return {value: i for i, value in enumerate(values)}


def _look_up(values: np.ndarray, code: dict[object, int]) -> np.ndarray:
    """Code of each value; -1 where it has none."""
    return np.fromiter(map(code.get, values, repeat(-1)), np.int64, len(values))


def _codes(frame: Frame, column: str, words: tuple[str, ...]) -> np.ndarray:
    return _look_up(_objects(frame, column), _code_of(words))


def _owners(
    log: WearLog | LogColumns, with_sole: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Wearers and pairs with a sole: ids of both, wearer of each pair, its row in the log."""
    chosen = set(with_sole)
    pair_id, owner = _objects(log.pairs, "pair_id"), _objects(log.pairs, "wearer_id")
    row = np.flatnonzero(np.fromiter(map(chosen.__contains__, pair_id), bool, len(pair_id)))
    wearer_ids = np.array(sorted(set(owner[row])), dtype=object)
    wearer = _look_up(owner[row], _code_of(wearer_ids))
    order = np.argsort(pair_id[row], kind="stable")
    order = order[np.argsort(wearer[order], kind="stable")]
    return wearer_ids, pair_id[row[order]], wearer[order], row[order]


def _soles(
    log: WearLog | LogColumns,
    known: np.ndarray,
    code: dict[object, int],
    fitted: np.ndarray,
    today: int,
) -> Soles:
    frame = log.soles
    pair = _look_up(_objects(frame, "pair_id")[known], code)
    order = np.lexsort((fitted, pair))
    pair, fitted = pair[order], fitted[order]
    removed = days_of(frame["removed_on"])[known][order]
    removed = np.where(removed > today, NEVER, removed)
    following = np.r_[np.where(pair[1:] == pair[:-1], fitted[1:], NEVER), NEVER]
    end = np.minimum(removed, following)
    return Soles(
        ids=_objects(frame, "sole_id")[known][order],
        pair=pair,
        fitted=fitted,
        end=end,
        material=_codes(frame, "material", MATERIALS)[known][order],
        assumed=np.asarray(frame["assumed"], dtype=bool)[known][order],
        nominal_mm=_numbers(frame, "nominal_thickness_mm")[known][order],
        limit_mm=_numbers(frame, "limit_mm")[known][order],
        half=(_objects(frame, "cover") == "half")[known][order],
        guard=are_guards(
            _objects(frame, "material"),
            _numbers(frame, "nominal_thickness_mm"),
            _objects(frame, "cover"),
        )[known][order],
        light=_of_light_pairs(log)[known][order],
        **soles_layers(log, code, pair, fitted, end, today),
    )


def _of_light_pairs(log: WearLog | LogColumns) -> np.ndarray:
    """Whether each sole of the log is on a women's or children's pair."""
    kind, pair_id = _objects(log.pairs, "kind"), _objects(log.soles, "pair_id")
    light = set(_objects(log.pairs, "pair_id")[[one in LIGHT_KINDS for one in kind]])
    return np.fromiter(map(light.__contains__, pair_id), bool, len(pair_id))


def _checks(log: WearLog | LogColumns, code: dict[object, int], today: int) -> Checks:
    frame = log.checks
    day = days_of(frame["checked_on"])
    keep = day <= today
    return Checks(
        row=np.arange(int(keep.sum())),
        pair=_look_up(_objects(frame, "pair_id"), code)[keep],
        day=day[keep],
        foot=_codes(frame, "foot", FEET)[keep],
        point=_codes(frame, "point", WEARING_POINTS)[keep],
        method=_codes(frame, "method", METHODS)[keep],
        grade=_codes(frame, "grade", GRADES)[keep],
        mm=_numbers(frame, "value_mm")[keep],
        lug_mm=_numbers(frame, "lug_mm")[keep],
    )


def _renews_top_piece(work: np.ndarray, more: np.ndarray) -> np.ndarray:
    """Whether a top piece is a job's work, or among its further works."""
    beside = [isinstance(one, str) and "top_piece" in one.split() for one in more]
    return np.asarray((work == "top_piece") | np.array(beside, dtype=bool))


def _jobs(log: WearLog | LogColumns, code: dict[object, int], today: int) -> Jobs:
    frame = log.bench_jobs
    if not len(frame["pair_id"]):
        none = np.zeros(0, np.int64)
        return Jobs(none, none, none, none, none.astype(bool))
    received = days_of(frame["received_on"])
    keep = received <= today
    finished, returned = (
        np.where(day > today, NEVER, day)
        for day in (days_of(frame[c])[keep] for c in ("finished_on", "returned_on"))
    )
    top = _renews_top_piece(_objects(frame, "work"), _objects(frame, "more_works"))[keep]
    done = np.where(finished < NEVER, finished, returned)
    return Jobs(
        pair=_look_up(_objects(frame, "pair_id"), code)[keep],
        received=received[keep],
        returned=returned,
        renewed=np.where(top, done, NEVER),
        advised=np.asarray(frame["advised"], dtype=bool)[keep],
    )
