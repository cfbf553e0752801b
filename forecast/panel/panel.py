"""Panel.

Which thickness paths are there, and which observation lies on which path at what exposure?

A path is one point of one foot of one sole. `forecast.panel.panel_of_log` turns a log into these
sorted integer and float arrays once; the fit and the forecast read nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from solespan.forecast.frames import MATERIALS, WEARING_POINTS
from solespan.forecast.panel.exposure import Exposure
from solespan.forecast.panel.ranks import Ranks, by_rank
from solespan.forecast.priors import LEATHERS

__all__ = [
    "GAUGES",
    "HOLE",
    "KNOWN_SINCE",
    "SENT",
    "STILL_ON",
    "THUMB",
    "Panel",
    "panel_part",
    "panel_range",
    "some_wearers",
    "unlogged_wearers",
    "wearer_blocks",
]

GAUGES = ("caliper", "depth_gauge", "ultrasonic")
THUMB = 3  # code of a thumb grade, after the gauges
HOLE = 4
SENT = 5  # the sole came off, at about `solespan.forecast.observation.removal_threshold`
STILL_ON = 6  # the sole had not come off yet, so it is not likely to be far below that
KNOWN_SINCE = 7  # the shop began to know the pair: an earlier removal would not have been seen
_HEEL = WEARING_POINTS.index("heel")
_OF_PATH = (
    "path_foot", "path_point", "current", "nominal_mm", "limit_mm", "material", "assumed", "drives",
)  # fmt: skip
_OF_PAIR = (
    "pair_ids",
    "pair_group",
    "unlogged",
    "gap_weight",
    "pair_wears",
    "pace_log",
    "pace_sd",
    "pair_contact",
    "pair_said",
    "moving",
)
_OF_OBS = ("obs_kind", "obs_mm", "obs_grade", "obs_waist", "obs_check")


@dataclass(frozen=True)
class Panel:
    """Arrays of a log as of one day.

    Attributes
    ----------
    path_pair, path_sole, path_foot, path_point, nominal_mm, limit_mm, material
        Paths, sorted by wearer, pair, sole, foot, point. Foot: 0 left, 1 right. Point: 0 ball, 1
        toe, 2 heel. Material: its code.
    assumed, drives
        Whether the sole's material, thickness or day of fitting is a guess. 1 where the foot is the
        wearer's driving foot.
    path_end
        Target at which the path is to be known: as_of, or the day the sole was taken off.
    path_begin
        Target from which it wears: of a heel's newest top piece; -1 from the fitting.
    current
        Whether the path's sole is still on.
    pair_wearer, pair_ids, pair_group
        Pairs, with the code of their dress code (0: none).
    unlogged, gap_weight, pair_wears
        Whether the pair's wearer logs no wear, or too little. Weight of the pair's own share of
        silent stretches. Wear days logged.
    pace_log, pace_sd
        A told pace over one wear day a week, log, and its SD; NaN: none.
    pair_contact, pair_said
        Day on which its wearer was last seen or logged. Last day on which the owner said that it is
        still worn; 0: never.
    wearer_ids
        Wearers.
    sole_ids, sole_pair
        Soles.
    obs_path, obs_target, obs_kind, obs_mm, obs_grade, obs_waist, obs_check
        Observations, sorted by path, target. Kind: gauge code, THUMB, HOLE, SENT, STILL_ON or
        KNOWN_SINCE. Thickness: NaN for grades. Grade: code or -1. Check: row of `log.checks`; -1
        from SENT on.
    target_sole, target_day, target_older, exposure
        Targets; their exposure is in `exposure`, and which share of it is how old in
        `target_older` (`forecast.panel.rate_ages`).
    moving
        By pair: SD of the steps of its wandering log rate over that of the fit; 0: it stands still.
    """

    wearer_ids: np.ndarray
    pair_ids: np.ndarray
    pair_wearer: np.ndarray
    pair_group: np.ndarray
    unlogged: np.ndarray
    gap_weight: np.ndarray
    pair_wears: np.ndarray
    pace_log: np.ndarray
    pace_sd: np.ndarray
    pair_contact: np.ndarray
    pair_said: np.ndarray
    moving: np.ndarray
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
    assumed: np.ndarray
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
    target_older: np.ndarray
    exposure: Exposure
    as_of_day: int

    @cached_property
    def has_sole(self) -> np.ndarray:
        """Whether each pair has a sole on."""
        out = np.zeros(len(self.pair_ids), bool)
        out[self.path_pair[self.current]] = True
        return out

    @cached_property
    def packs(self) -> np.ndarray:
        """1 where the sole packs down in its first days, shape (paths,)."""
        leathers = [MATERIALS.index(word) for word in LEATHERS]
        return np.asarray(np.isin(self.material, leathers) * (self.path_point != _HEEL), float)

    @cached_property
    def ranks(self) -> Ranks:
        """Order in which the observations of the paths are whitened."""
        return by_rank(self.obs_path, len(self.nominal_mm))

    @property
    def sizes(self) -> tuple[int, int, int, int]:
        """Number of wearers, pairs, paths, and observations that are checks."""
        checks = int((self.obs_check >= 0).sum())
        return len(self.wearer_ids), len(self.pair_ids), len(self.nominal_mm), checks

    @cached_property
    def stated(self) -> np.ndarray:
        """One path of each pair whose pace is stated."""
        first = np.searchsorted(self.path_pair, np.flatnonzero(~np.isnan(self.pace_sd)))
        return np.asarray(first)

    @cached_property
    def unlogged_path(self) -> np.ndarray:
        """Whether the wearer of each path logs no wear."""
        return np.asarray(self.unlogged[self.path_pair])

    @property
    def path_wearer(self) -> np.ndarray:
        """Wearer of each path."""
        return np.asarray(self.pair_wearer[self.path_pair])


def some_wearers(panel: Panel, enough_paths: int) -> Panel:
    """Every k-th wearer of a panel, so that about so many paths remain; a small panel itself."""
    step = -(-len(panel.nominal_mm) // enough_paths)
    if step <= 1:
        return panel
    return panel_part(panel, np.arange(len(panel.wearer_ids)) % step == 0)


def panel_part(panel: Panel, wearer: np.ndarray) -> Panel:
    """The part of a panel that belongs to some wearers (a bool each)."""
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
        **{name: getattr(panel, name)[pair] for name in _OF_PAIR},
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
        assumed=panel.assumed[path],
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
        target_older=panel.target_older[target],
        exposure=Exposure(
            base=exposure.base[target],
            driving=exposure.driving[target],
            silent=exposure.silent[target],
            flags=exposure.flags,
        ),
        as_of_day=panel.as_of_day,
    )


def unlogged_wearers(panel: Panel) -> np.ndarray:
    """Whether each wearer logs no wear, shape (wearers,)."""
    silent = np.zeros(len(panel.wearer_ids), bool)
    silent[panel.pair_wearer] = panel.unlogged
    return silent


def wearer_blocks(panel: Panel, paths: int) -> list[tuple[int, int]]:
    """Ranges of neighbouring wearers with about so many paths each."""
    last = np.searchsorted(panel.path_wearer, np.arange(len(panel.wearer_ids)), side="right")
    blocks, begin, taken = [], 0, 0
    while begin < len(last):
        end = max(int(np.searchsorted(last, taken + paths)), begin + 1)
        end = min(end, len(last))
        blocks.append((begin, end))
        begin, taken = end, int(last[end - 1])
    return blocks


def panel_range(panel: Panel, begin: int, end: int) -> Panel:
    """The part of a panel that belongs to wearers `begin` to before `end`, without copying."""
    if begin == 0 and end == len(panel.wearer_ids):
        return panel
    wearers = np.array([begin, end])
    pair = slice(*np.searchsorted(panel.pair_wearer, wearers))
    sole = slice(*np.searchsorted(panel.sole_pair, [pair.start, pair.stop]))
    path = slice(*np.searchsorted(panel.path_sole, [sole.start, sole.stop]))
    obs = slice(*np.searchsorted(panel.obs_path, [path.start, path.stop]))
    target = slice(*np.searchsorted(panel.target_sole, [sole.start, sole.stop]))
    of_path = {n: getattr(panel, n)[path] for n in _OF_PATH}
    of_obs = {n: getattr(panel, n)[obs] for n in _OF_OBS}
    since, exposure = panel.path_begin[path], panel.exposure
    return Panel(
        wearer_ids=panel.wearer_ids[begin:end],
        **{name: getattr(panel, name)[pair] for name in _OF_PAIR},
        pair_wearer=panel.pair_wearer[pair] - begin,
        sole_ids=panel.sole_ids[sole],
        sole_pair=panel.sole_pair[sole] - pair.start,
        sole_fitted=panel.sole_fitted[sole],
        path_pair=panel.path_pair[path] - pair.start,
        path_sole=panel.path_sole[path] - sole.start,
        path_end=panel.path_end[path] - target.start,
        path_begin=np.where(since < 0, -1, since - target.start),
        obs_path=panel.obs_path[obs] - path.start,
        obs_target=panel.obs_target[obs] - target.start,
        target_sole=panel.target_sole[target] - sole.start,
        target_day=panel.target_day[target],
        target_older=panel.target_older[target],
        exposure=Exposure(
            base=exposure.base[target],
            driving=exposure.driving[target],
            silent=exposure.silent[target],
            flags=exposure.flags,
        ),
        as_of_day=panel.as_of_day,
        **of_path,
        **of_obs,
    )
