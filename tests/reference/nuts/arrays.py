"""Which arrays does the sampler read from a panel?

Data only: exposures, readings and who belongs to whom. Nothing the engine computed is in them.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from solespan.forecast.covariates import COVARIATES
from solespan.forecast.frames import MATERIALS
from solespan.forecast.model.linearise import Noise
from solespan.forecast.model.parameter_layout import population_prior
from solespan.forecast.model.thumb import HOLE_SD_MM
from solespan.forecast.panel.panel import HOLE, SENT, STILL_ON, THUMB, Panel
from solespan.forecast.priors import USUAL_LIMIT_MM

__all__ = ["arrays"]

_FAR_MM = 1e3


def arrays(panel: Panel, noise: Noise) -> dict[str, Any]:
    """Lay a panel of balls out for the sampler; `noise` gives what is fixed of thumb and sending.

    A node is a day on which the process noise of a path matters: an observation of the worn ball,
    or the path's end. `node_*` are padded to (paths, most nodes) in order of time.
    """
    path_sole, sole_pair, pair_wearer = panel.path_sole, panel.sole_pair, panel.pair_wearer
    n_paths, n_wearers = len(path_sole), len(panel.wearer_ids)
    worn = ~panel.obs_waist
    key = np.unique(
        np.concatenate(
            [
                panel.obs_path[worn] * (1 << 32) + panel.obs_target[worn],
                np.arange(n_paths) * (1 << 32) + panel.path_end,
            ]
        )
    )
    node_path, node_target = key >> 32, key & ((1 << 32) - 1)
    first = np.searchsorted(node_path, np.arange(n_paths))
    rank = np.arange(len(key)) - first[node_path]
    most = int(rank.max()) + 1
    place = np.full((n_paths, most), -1)
    place[node_path, rank] = node_target
    index = np.full((n_paths, most), len(key))
    index[node_path, rank] = np.arange(len(key))
    real = place >= 0
    place = np.maximum(place, 0)
    obs_rank = np.zeros(len(panel.obs_path), int)
    found = np.searchsorted(key, panel.obs_path[worn] * (1 << 32) + panel.obs_target[worn])
    obs_rank[worn] = rank[found]

    sole_first = np.searchsorted(path_sole, np.arange(len(sole_pair)))
    sole_material = panel.material[sole_first]
    used = np.unique(sole_material)
    material = np.searchsorted(used, sole_material)
    left_first = np.searchsorted(panel.path_pair, np.arange(len(pair_wearer)))
    wearer_path = np.searchsorted(pair_wearer[panel.path_pair], np.arange(n_wearers))
    drives = np.stack([panel.drives[wearer_path], panel.drives[wearer_path + 1]])
    assert (panel.path_foot[left_first] == 0).all()
    by_pair = _share(sole_pair, material, len(pair_wearer), len(used))
    by_wearer = _share(pair_wearer[sole_pair], material, n_wearers, len(used))
    gauged = np.zeros(n_wearers, bool)
    gauged[panel.path_wearer[panel.obs_path[panel.obs_kind < THUMB]]] = True
    last_of_sole = panel.path_end[sole_first]
    flags = panel.exposure.flags
    days = np.concatenate([panel.exposure.base, panel.exposure.driving], axis=1)
    pair_days = np.zeros((len(pair_wearer), days.shape[1]))
    np.add.at(pair_days, sole_pair, days[last_of_sole])
    return {
        "n_paths": n_paths,
        "path_sole": path_sole,
        "side": panel.path_foot - 0.5,
        "sole_pair": sole_pair,
        "pair_wearer": pair_wearer,
        "material": material,
        "materials": [MATERIALS[k] for k in used],
        "material_by_pair": by_pair,
        "material_by_wearer": by_wearer,
        "drives_mean": drives.mean(axis=0),
        "drives_contrast": drives[1] - drives[0],
        "gauged": gauged.astype(float),
        "nominal": panel.nominal_mm,
        "packs": panel.packs,
        "flags": flags,
        "pair_days": pair_days,
        "pair_silent": np.bincount(sole_pair, panel.exposure.silent[last_of_sole]),
        "node_days": days[place],
        "node_silent": panel.exposure.silent[place],
        "seen_covariates": [
            *(n for i, n in enumerate(COVARIATES[:-1]) if flags[:, i].any()),
            *(["driving"] if (panel.exposure.driving > 0).any() else []),
        ],
        "node_real": real,
        "node_index": index,
        "n_nodes": len(key),
        "end_rank": np.bincount(node_path) - 1,
        **_observations(panel, noise, obs_rank),
    }


def _share(owner: np.ndarray, material: np.ndarray, owners: int, materials: int) -> np.ndarray:
    table = np.zeros((owners, materials))
    np.add.at(table, (owner, material), 1.0)
    return table / table.sum(axis=1, keepdims=True)


def _observations(panel: Panel, noise: Noise, obs_rank: np.ndarray) -> dict[str, Any]:
    kind, path = panel.obs_kind, panel.obs_path
    limit, sending, thumb = panel.limit_mm[path], noise.sending, noise.thumb
    gauge, sent = kind < THUMB, kind == SENT
    judged = np.isin(kind, (THUMB, HOLE, STILL_ON))
    firm, give = thumb.firm_from_mm, thumb.give_from_mm
    grade = panel.obs_grade
    low, high = np.full(len(kind), -_FAR_MM), np.full(len(kind), _FAR_MM)
    low = np.where((kind == THUMB) & (grade == 0), firm, low)
    low = np.where((kind == THUMB) & (grade == 1), give, low)
    high = np.where((kind == THUMB) & (grade == 1), firm, high)
    high = np.where((kind == THUMB) & (grade == 2), give, high)
    high = np.where(kind == HOLE, 0.0, high)
    low = np.where(kind == STILL_ON, limit, low)
    sd = np.select([kind == THUMB, kind == HOLE], [thumb.sd_mm, HOLE_SD_MM], 2 * sending.sd_mm)
    return {
        "gauge_path": path[gauge],
        "gauge_rank": obs_rank[gauge],
        "gauge_worn": (~panel.obs_waist[gauge]).astype(float),
        "gauge_kind": kind[gauge],
        "gauge_mm": panel.obs_mm[gauge],
        "judged_path": path[judged],
        "judged_rank": obs_rank[judged],
        "judged_thumb": (kind[judged] == THUMB).astype(float),
        "judged_limit": (kind[judged] == THUMB) * (USUAL_LIMIT_MM - limit[judged]),
        "judged_on": (kind[judged] == STILL_ON).astype(float),
        "judged_low": low[judged],
        "judged_high": high[judged],
        "judged_sd": sd[judged],
        "sent_path": path[sent],
        "sent_rank": obs_rank[sent],
        "sent_mm": limit[sent],
        "sent_sd": np.full(int(sent.sum()), np.sqrt(2.0) * sending.sd_mm),
        "priors": {
            name: population_prior(name)
            for name in (
                "level",
                "drive_ball",
                "start_mm",
                "packing_mm",
                "thumb_shift_mm",
                "thumb_limit",
                "sending_mm",
                "gap_share",
            )
        },
    }
