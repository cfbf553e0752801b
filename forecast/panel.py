"""Which thickness paths are there, and which observation lies on which path at what exposure?

A path is one point of one foot of one sole. `build_panel` turns a log into sorted integer and
float arrays once; the fit and the forecast read nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from forecast.errors import TooLittleData
from forecast.exposure import Exposure, count_exposure, days_of, silent_exposure, silent_gaps
from forecast.frames import FEET, GRADES, MATERIALS, WEARING_POINTS
from forecast.log import WearLog
from forecast.priors import HEEL_NOMINAL_MM, LEATHERS, default_limit_mm

__all__ = ["GAUGES", "HOLE", "SENT", "STILL_ON", "THUMB", "Panel", "build_panel", "some_wearers"]

GAUGES = ("caliper", "depth_gauge", "ultrasonic")
STILL_ON = 6  # the sole is on yet, so it is not likely to be far below that
THUMB = 3  # code of a thumb grade, after the gauges
HOLE = 4
SENT = 5  # the sole came off: soles come off at about the thickness of `forecast.sending`
_SHIFT = 1 << 20
_HEEL = WEARING_POINTS.index("heel")


@dataclass(frozen=True)
class Panel:
    """Arrays of a log as of one day.

    Paths (sorted by wearer, pair, sole, foot, point): `path_pair`, `path_sole`, `path_foot` (0
    left, 1 right), `path_point` (0 ball, 1 toe, 2 heel), `nominal_mm`, `limit_mm`, `material`
    (code), `drives` (1 where the foot is the wearer's driving foot), `path_end` (target at which
    the path is to be known: as_of, or the day the sole was taken off), `path_begin` (target from
    which it wears: of a heel's newest top piece; -1 from the fitting), `current` (sole still on).
    Pairs: `pair_wearer`, `pair_ids`; wearers: `wearer_ids`. Soles: `sole_ids`, `sole_pair`.
    Observations (sorted by path, target): `obs_path`, `obs_target`, `obs_kind` (gauge code, THUMB,
    HOLE, SENT or STILL_ON), `obs_mm` (NaN for grades), `obs_grade` (code or -1), `obs_waist`,
    `obs_check` (row of `log.checks`; -1 for SENT and STILL_ON).
    Targets: `target_sole`, `target_day`, exposure in `exposure`.
    """

    wearer_ids: np.ndarray
    pair_ids: np.ndarray
    pair_wearer: np.ndarray
    sole_ids: np.ndarray
    sole_pair: np.ndarray
    sole_fitted: np.ndarray
    path_pair: np.ndarray
    path_sole: np.ndarray
    path_foot: np.ndarray
    path_point: np.ndarray
    path_end: np.ndarray
    path_begin: np.ndarray
    current: np.ndarray
    nominal_mm: np.ndarray
    limit_mm: np.ndarray
    material: np.ndarray
    drives: np.ndarray
    obs_path: np.ndarray
    obs_target: np.ndarray
    obs_kind: np.ndarray
    obs_mm: np.ndarray
    obs_grade: np.ndarray
    obs_waist: np.ndarray
    obs_check: np.ndarray
    target_sole: np.ndarray
    target_day: np.ndarray
    exposure: Exposure
    as_of_day: int

    @property
    def packs(self) -> np.ndarray:
        """1 where the sole packs down in its first days, shape (paths,)."""
        leathers = [MATERIALS.index(word) for word in LEATHERS]
        return np.asarray(np.isin(self.material, leathers) * (self.path_point != _HEEL), float)

    @property
    def path_wearer(self) -> np.ndarray:
        """Wearer of each path."""
        return np.asarray(self.pair_wearer[self.path_pair])


def _codes(values: pd.Series, categories: tuple[str, ...] | np.ndarray) -> np.ndarray:
    return np.asarray(pd.Index(categories).get_indexer(pd.Index(values.astype(object))))


def build_panel(log: WearLog, as_of: pd.Timestamp) -> Panel:
    """Turn a log into arrays, using nothing later than `as_of`.

    Parameters
    ----------
    log : WearLog
        Checked frames.
    as_of : Timestamp
        Day of the forecast.

    Raises
    ------
    TooLittleData
        No sole was fitted by `as_of`.
    """
    log = log.until(as_of)
    today = int(np.datetime64(as_of, "D").astype(np.int64))
    if log.soles.empty:
        raise TooLittleData(f"no sole was fitted by {as_of.date()}; add a pair with one sole")
    soles, pairs, wearers = _hierarchy(log)
    sole_end = np.minimum(soles["end_day"].to_numpy(), today)
    sole_key = soles["pair"].to_numpy() * _SHIFT + soles["fitted_day"].to_numpy()

    day_sole = _sole_at(log.wear_days, "worn_on", pairs, sole_key, soles)
    check_sole = _sole_at(log.checks, "checked_on", pairs, sole_key, soles)
    checks = log.checks[check_sole >= 0]
    check_row = np.flatnonzero(check_sole >= 0)
    check_sole = check_sole[check_sole >= 0]
    check_day = days_of(checks["checked_on"])
    renewed = _top_pieces(log, pairs, sole_key, soles)
    at = np.flatnonzero(renewed >= 0)
    ends = np.arange(len(soles)) * _SHIFT + sole_end
    key = np.unique(
        np.concatenate([check_sole * _SHIFT + check_day, ends, at * _SHIFT + renewed[at]])
    )
    target_sole, target_day = key // _SHIFT, key % _SHIFT
    last = np.r_[target_sole[1:] != target_sole[:-1], True]
    target_day[last] = np.maximum(target_day[last], sole_end[target_sole[last]])
    exposure, _ = count_exposure(log.wear_days, day_sole, target_sole, target_day)
    exposure = _with_gaps(exposure, log, soles, pairs, target_sole, target_day, today)

    paths = _paths(soles, wearers, pairs, check_sole, checks)
    path_of = pd.MultiIndex.from_frame(paths[["sole", "foot", "point"]])
    foot = _codes(checks["foot"], FEET)
    point = _codes(checks["point"], WEARING_POINTS)
    target = np.searchsorted(key, check_sole * _SHIFT + check_day)
    end_target = np.flatnonzero(last)
    gone = np.flatnonzero(~soles["current"].to_numpy() & (soles["end_day"].to_numpy() <= today))
    on = np.flatnonzero(soles["current"].to_numpy())
    sent = pd.concat([_told(gone, SENT, end_target), _told(on, STILL_ON, end_target)])
    fresh = (point != _HEEL) | (check_day >= renewed[check_sole])  # or of an earlier top piece
    seen = (checks[fresh], check_row[fresh], check_sole[fresh], foot[fresh], point[fresh])
    obs = _observations(*seen, target[fresh], path_of, sent)
    since = renewed[paths["sole"].to_numpy()]
    begin = np.where(
        (paths["point"].to_numpy() == _HEEL) & (since >= 0),
        np.searchsorted(key, paths["sole"].to_numpy() * _SHIFT + since),
        -1,
    )
    sole_material = soles["material"].to_numpy()
    return Panel(
        wearer_ids=wearers["wearer_id"].to_numpy(object),
        pair_ids=pairs["pair_id"].to_numpy(object),
        pair_wearer=pairs["wearer"].to_numpy(),
        sole_ids=soles["sole_id"].to_numpy(object),
        sole_pair=soles["pair"].to_numpy(),
        sole_fitted=soles["fitted_day"].to_numpy(),
        path_pair=paths["pair"].to_numpy(),
        path_sole=paths["sole"].to_numpy(),
        path_foot=paths["foot"].to_numpy(),
        path_point=paths["point"].to_numpy(),
        path_end=end_target[paths["sole"].to_numpy()],
        path_begin=begin,
        current=soles["current"].to_numpy()[paths["sole"].to_numpy()],
        nominal_mm=paths["nominal_mm"].to_numpy(),
        limit_mm=paths["limit_mm"].to_numpy(),
        material=sole_material[paths["sole"].to_numpy()],
        drives=paths["drives"].to_numpy(float),
        obs_path=obs["path"].to_numpy(),
        obs_target=obs["target"].to_numpy(),
        obs_kind=obs["kind"].to_numpy(),
        obs_mm=obs["mm"].to_numpy(float),
        obs_grade=obs["grade"].to_numpy(),
        obs_waist=obs["waist"].to_numpy(bool),
        obs_check=obs["check"].to_numpy(),
        target_sole=target_sole,
        target_day=target_day,
        exposure=exposure,
        as_of_day=today,
    )


def _hierarchy(log: WearLog) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Wearers, pairs and soles with integer codes, sorted so that each level is contiguous."""
    with_sole = log.pairs[log.pairs["pair_id"].isin(log.soles["pair_id"])]
    wearers = log.wearers[log.wearers["wearer_id"].isin(with_sole["wearer_id"])]
    wearers = wearers.sort_values("wearer_id").reset_index(drop=True)
    pairs = with_sole.assign(wearer=_codes(with_sole["wearer_id"], wearers["wearer_id"].to_numpy()))
    pairs = pairs.sort_values(["wearer", "pair_id"]).reset_index(drop=True)
    soles = log.soles.assign(
        pair=_codes(log.soles["pair_id"], pairs["pair_id"].to_numpy()),
        fitted_day=days_of(log.soles["fitted_on"]),
        end_day=days_of(log.soles["removed_on"]),
        material=_codes(log.soles["material"], MATERIALS),
        material_word=log.soles["material"],
    )
    soles = soles.sort_values(["pair", "fitted_day"], kind="stable").reset_index(drop=True)
    pair, fitted = soles["pair"].to_numpy(), soles["fitted_day"].to_numpy()
    following = np.r_[np.where(pair[1:] == pair[:-1], fitted[1:], _SHIFT - 1), _SHIFT - 1]
    soles["end_day"] = np.minimum(soles["end_day"], following)
    soles["current"] = soles["end_day"] >= _SHIFT - 1
    return soles, pairs, wearers


def _sole_at(
    frame: pd.DataFrame, column: str, pairs: pd.DataFrame, sole_key: np.ndarray, soles: pd.DataFrame
) -> np.ndarray:
    """Index of the sole on the pair on that day: the last one fitted by then; -1 where none."""
    pair = _codes(frame["pair_id"], pairs["pair_id"].to_numpy())
    day = days_of(frame[column])
    place = np.searchsorted(sole_key, pair * _SHIFT + day, side="right") - 1
    safe = np.maximum(place, 0)
    fits = (place >= 0) & (pair >= 0) & (soles["pair"].to_numpy()[safe] == pair)
    fits &= day <= soles["end_day"].to_numpy()[safe]
    return np.where(fits, place, -1)


def _top_pieces(
    log: WearLog, pairs: pd.DataFrame, sole_key: np.ndarray, soles: pd.DataFrame
) -> np.ndarray:
    """Day of the newest top piece on each sole; -1 where the heel is as it was fitted."""
    jobs = log.bench_jobs[log.bench_jobs["work"] == "top_piece"]
    jobs = jobs.assign(done_on=jobs["finished_on"].fillna(jobs["returned_on"]))
    jobs = jobs[jobs["done_on"].notna()]
    sole = _sole_at(jobs, "done_on", pairs, sole_key, soles)
    out = np.full(len(soles), -1)
    np.maximum.at(out, sole[sole >= 0], days_of(jobs["done_on"])[sole >= 0])
    return np.where(out > soles["fitted_day"].to_numpy(), out, -1)


def _with_gaps(
    exposure: Exposure,
    log: WearLog,
    soles: pd.DataFrame,
    pairs: pd.DataFrame,
    target_sole: np.ndarray,
    target_day: np.ndarray,
    today: int,
) -> Exposure:
    """Add the wear that habit would have put into silent gaps."""
    wearer_of_pair = pairs["wearer"].to_numpy()
    pair_of_day = _codes(log.wear_days["pair_id"], pairs["pair_id"].to_numpy())
    day = days_of(log.wear_days["worn_on"])[pair_of_day >= 0]
    pair_of_day = pair_of_day[pair_of_day >= 0]
    sole_wearer = wearer_of_pair[soles["pair"].to_numpy()]
    n_wearers = int(wearer_of_pair.max()) + 1
    first = np.full(n_wearers, _SHIFT)
    np.minimum.at(first, sole_wearer, soles["fitted_day"].to_numpy())
    gaps = silent_gaps(wearer_of_pair[pair_of_day], day, first, today)
    if gaps.empty:
        return exposure
    targets = pd.DataFrame(
        {
            "wearer": sole_wearer[target_sole],
            "fitted_day": soles["fitted_day"].to_numpy()[target_sole],
            "day": target_day,
            "pace_per_day": 1.0,
        }
    )
    silent_days = silent_exposure(gaps, targets)
    open_days = targets["day"] - targets["fitted_day"] - silent_days
    worn = exposure.base.sum(axis=1)
    pair = soles["pair"].to_numpy()[target_sole]
    last = np.r_[target_sole[1:] != target_sole[:-1], True]
    worn_pair = np.bincount(pair[last], weights=worn[last], minlength=len(pairs))
    open_pair = np.bincount(pair[last], weights=open_days[last], minlength=len(pairs))
    pace = worn_pair / np.maximum(open_pair, 30.0)
    return Exposure(
        base=exposure.base,
        driving=exposure.driving,
        silent=silent_days * pace[pair],
        flags=exposure.flags,
    )


def _paths(
    soles: pd.DataFrame,
    wearers: pd.DataFrame,
    pairs: pd.DataFrame,
    check_sole: np.ndarray,
    checks: pd.DataFrame,
) -> pd.DataFrame:
    """One row a path: the ball of both feet of every sole; toe and heel where they are checked."""
    n_soles = len(soles)
    ball = pd.DataFrame(
        {"sole": np.repeat(np.arange(n_soles), 2), "foot": np.tile([0, 1], n_soles), "point": 0}
    )
    point = _codes(checks["point"], WEARING_POINTS)
    tracked = np.unique(check_sole[point > 0] * 4 + point[point > 0])
    other = pd.DataFrame(
        {
            "sole": np.repeat(tracked // 4, 2),
            "foot": np.tile([0, 1], len(tracked)),
            "point": np.repeat(tracked % 4, 2),
        }
    )
    paths = pd.concat([ball, other], ignore_index=True).astype("int64")
    paths = paths.sort_values(["sole", "foot", "point"]).reset_index(drop=True)
    sole = paths["sole"].to_numpy()
    paths["pair"] = soles["pair"].to_numpy()[sole]
    heel = paths["point"].to_numpy() == 2
    paths["nominal_mm"] = np.where(
        heel, HEEL_NOMINAL_MM, soles["nominal_thickness_mm"].to_numpy()[sole]
    )
    words = soles["material_word"].to_numpy(object)
    table = {
        (word, code): default_limit_mm(word, name)
        for word in MATERIALS
        for code, name in enumerate(WEARING_POINTS)
    }
    default = np.array(
        [table[words[s], p] for s, p in zip(sole, paths["point"], strict=True)], dtype=float
    )
    own = soles["limit_mm"].to_numpy()[sole]
    paths["limit_mm"] = np.where(np.isnan(own) | (paths["point"] != 0), default, own)
    driving = wearers["driving_foot"].to_numpy(object)[
        pairs["wearer"].to_numpy()[paths["pair"].to_numpy()]
    ]
    paths["drives"] = (driving == np.array(FEET, dtype=object)[paths["foot"]]).astype(float)
    return paths


def _told(soles: np.ndarray, kind: int, end_target: np.ndarray) -> pd.DataFrame:
    """Rows that say that a sole came off or is still on, one for the ball of each foot."""
    sole = np.repeat(soles, 2)
    return pd.DataFrame(
        {
            "target": end_target[sole],
            "kind": kind,
            "mm": np.nan,
            "grade": -1,
            "waist": False,
            "check": -1,
            "sole": sole,
            "foot": np.tile([0, 1], len(soles)),
            "point": 0,
        }
    )


def _observations(
    checks: pd.DataFrame,
    check_row: np.ndarray,
    check_sole: np.ndarray,
    foot: np.ndarray,
    point: np.ndarray,
    target: np.ndarray,
    path_of: pd.MultiIndex,
    sent: pd.DataFrame,
) -> pd.DataFrame:
    """One row an observation and path; a waist reading is seen by the ball and the toe."""
    grade = _codes(checks["grade"], GRADES)
    method = _codes(checks["method"], GAUGES)
    kind = np.where(grade == GRADES.index("hole"), HOLE, np.where(method < 0, THUMB, method))
    frame = pd.DataFrame(
        {
            "target": target,
            "kind": kind,
            "mm": checks["value_mm"].to_numpy(float),
            "grade": grade,
            "waist": point < 0,
            "check": check_row,
            "sole": check_sole,
            "foot": foot,
            "point": point,
        }
    )
    frame = frame[(frame["mm"].notna() & (frame["kind"] < THUMB)) | (frame["grade"] >= 0)]
    worn = frame[~frame["waist"]]
    waist = frame[frame["waist"] & (frame["kind"] < THUMB)]
    parts = [worn, *(waist.assign(point=p) for p in (0, 1)), sent]
    parts = [part for part in parts if len(part)] or [worn]
    every = pd.concat(parts, ignore_index=True)
    every["path"] = path_of.get_indexer(pd.MultiIndex.from_frame(every[["sole", "foot", "point"]]))
    every = every[every["path"] >= 0]
    order = ["path", "waist", "target", "kind"]
    return every.sort_values(order, ascending=[True, False, True, True]).reset_index(drop=True)


def some_wearers(panel: Panel, enough_paths: int) -> Panel:
    """Every k-th wearer of a panel, so that about so many paths remain; a small panel itself."""
    step = -(-len(panel.nominal_mm) // enough_paths)
    if step <= 1:
        return panel
    wearer = np.arange(len(panel.wearer_ids)) % step == 0
    pair = wearer[panel.pair_wearer]
    sole = pair[panel.sole_pair]
    path, target = sole[panel.path_sole], sole[panel.target_sole]
    seen = path[panel.obs_path]

    def renumber(kept: np.ndarray) -> np.ndarray:
        return np.cumsum(kept) - 1

    new_target = renumber(target)
    exposure = panel.exposure
    return Panel(
        wearer_ids=panel.wearer_ids[wearer],
        pair_ids=panel.pair_ids[pair],
        pair_wearer=renumber(wearer)[panel.pair_wearer[pair]],
        sole_ids=panel.sole_ids[sole],
        sole_pair=renumber(pair)[panel.sole_pair[sole]],
        sole_fitted=panel.sole_fitted[sole],
        path_pair=renumber(pair)[panel.path_pair[path]],
        path_sole=renumber(sole)[panel.path_sole[path]],
        path_foot=panel.path_foot[path],
        path_point=panel.path_point[path],
        path_end=new_target[panel.path_end[path]],
        path_begin=np.where(panel.path_begin[path] < 0, -1, new_target[panel.path_begin[path]]),
        current=panel.current[path],
        nominal_mm=panel.nominal_mm[path],
        limit_mm=panel.limit_mm[path],
        material=panel.material[path],
        drives=panel.drives[path],
        obs_path=renumber(path)[panel.obs_path[seen]],
        obs_target=new_target[panel.obs_target[seen]],
        obs_kind=panel.obs_kind[seen],
        obs_mm=panel.obs_mm[seen],
        obs_grade=panel.obs_grade[seen],
        obs_waist=panel.obs_waist[seen],
        obs_check=panel.obs_check[seen],
        target_sole=renumber(sole)[panel.target_sole[target]],
        target_day=panel.target_day[target],
        exposure=Exposure(
            base=exposure.base[target],
            driving=exposure.driving[target],
            silent=exposure.silent[target],
            flags=exposure.flags,
        ),
        as_of_day=panel.as_of_day,
    )
