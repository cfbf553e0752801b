"""What of the sampled posterior is worth keeping beside the tests?

Reads the chains of `sample`, checks that they agree, and writes `result.json` (how it was made,
convergence, population, spreads, scores), `paths.csv` (log rates) and `pairs.csv` (wear days left):

    python -m tests.reference.nuts.digest FOLDER
"""

from __future__ import annotations

import json
import sys
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pandas as pd
from numpyro.diagnostics import effective_sample_size, split_gelman_rubin

from solespan.forecast import WearFit, WearModel
from solespan.forecast.covariates import FLAGS
from solespan.forecast.dates.first_passage import inverse_gaussian
from solespan.forecast.panel.panel import GAUGES
from tests.reference.nuts.arrays import arrays
from tests.reference.nuts.engine_answers import (
    calendar_days,
    due_scores,
    engine_answers,
    path_index,
    quantiles,
)
from tests.reference.nuts.model import SPREAD_NAMES
from tests.reference.nuts.rack_room import RackRoom, fingerprint, rack_room

HERE = Path(__file__).parent
_SCALARS = (
    "level",
    "drive_ball",
    "start_mm",
    "packing_mm",
    "thumb_shift_mm",
    "thumb_limit",
    "sending_mm",
    "gap_share",
)
_PER_DRAW = 4  # first passages drawn for each draw of the posterior


def _chains(folder: Path) -> dict[str, np.ndarray]:
    files = [np.load(p) for p in sorted(folder.glob("chain*.npz"))]
    return {name: np.stack([f[name] for f in files]) for name in files[0].files}


def _worst(values: np.ndarray) -> tuple[float, float]:
    """Largest split R-hat and smallest effective sample size, values (chains, draws, ...)."""
    return float(np.max(split_gelman_rubin(values))), float(np.min(effective_sample_size(values)))


def _convergence(chains: dict[str, np.ndarray], end_mm: np.ndarray) -> dict[str, object]:
    watched = {
        "log_rate": chains["log_rate"],
        "log_wear": chains["log_wear"],
        "end_mm": end_mm,
        "log_spreads": chains["log_spreads"],
        "log_gauge_sds": chains["log_gauge_sds"],
        "log_process": chains["log_process"],
        "population": np.concatenate(list(_population(chains).values()), axis=-1),
    }
    energy = chains["energy"]
    return {
        "chains": energy.shape[0],
        "warmup": [int(w) for w in chains["warmup"]],
        "draws_per_chain": energy.shape[1],
        "divergences": int(chains["diverging"].sum()),
        "mean_steps": round(float(chains["steps"].mean()), 1),
        "share_at_most_steps": round(float((chains["steps"] >= 1023).mean()), 4),
        "energy_fraction": [  # of Betancourt (arXiv:1604.00695); below 0.3 is a warning
            round(float(np.mean(np.diff(e) ** 2) / np.var(e)), 3) for e in energy
        ],
        "seconds": [round(float(s)) for s in chains["seconds"]],
        **{
            f"{name}_{what}": round(value, 4)
            for name, values in watched.items()
            for what, value in zip(("rhat_most", "ess_least"), _worst(values), strict=True)
        },
    }


def _population(chains: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    out = {name: chains[name][..., None] for name in _SCALARS}
    return out | {"material": chains["material"], "covariates": chains["covariates"]}


def _pooled(values: np.ndarray) -> np.ndarray:
    return values.reshape(-1, *values.shape[2:])


def _remaining(chains: dict[str, np.ndarray], answers: object) -> np.ndarray:
    """Exposure until the first foot is at its limit, (pairs, draws).

    As a share of the exposure so far and one day, which each draw of the multipliers moves alike.
    """
    rng = np.random.default_rng(7)
    panel, feet = answers.known.panel, answers.feet
    process = np.exp(_pooled(chains["log_process"]))[:, None]
    both = []
    for path in (feet.left, feet.right):
        rate = np.exp(_pooled(chains["log_rate"])[:, path])
        left = _pooled(chains["end_mm"])[:, path] - panel.limit_mm[path]
        ahead = np.maximum(left, 1e-9)
        drawn = [
            inverse_gaussian(
                ahead / rate,
                ahead**2 / (process * rate),
                rng.standard_normal(rate.shape),
                rng.uniform(size=rate.shape),
            )
            for _ in range(_PER_DRAW)
        ]
        both.append(np.where(left > 0, np.array(drawn), 0.0))
    worn = np.exp(_pooled(chains["log_wear"] - chains["log_rate"]))[:, feet.left]
    first = np.minimum(*both) / worn
    return first.reshape(-1, first.shape[-1]).T


def _log_wear(chains: dict[str, np.ndarray], panel: object, seen: list[str]) -> np.ndarray:
    """Log rate plus log of exposure so far and one day, (chains, draws, paths)."""
    base = panel.exposure.base[panel.path_end]
    driving = panel.exposure.driving[panel.path_end]
    flagged = panel.exposure.flags[:, [list(FLAGS).index(n) for n in seen if n in FLAGS]]
    out = np.empty_like(chains["log_rate"])
    for at in np.ndindex(out.shape[:2]):
        covariates = dict(zip(seen, chains["covariates"][at], strict=True))
        scale = np.exp(flagged @ [v for n, v in covariates.items() if n in FLAGS])
        cell = base + covariates.get("driving", 0.0) * driving
        out[at] = chains["log_rate"][at] + np.log(cell @ scale + 1.0)
    return out


def _moments(names: list[str], values: np.ndarray) -> dict[str, dict[str, float]]:
    pooled = _pooled(values)
    mean, sd = pooled.mean(axis=0), pooled.std(axis=0, ddof=1)
    return {
        n: {"mean": round(float(m), 5), "sd": round(float(s), 5)}
        for n, m, s in zip(names, np.atleast_1d(mean), np.atleast_1d(sd), strict=True)
    }


def _scores(room: RackRoom, answers: object, remaining: np.ndarray) -> dict[str, float]:
    """CRPS of days until the resole is due, with the engine's forecast of use for both."""
    use = np.random.default_rng(8).standard_normal(remaining.shape[1])
    days = calendar_days(answers, remaining * answers.worn[:, None], use)
    sampled = due_scores(room, answers, days)
    engine = due_scores(room, answers, calendar_days(answers, answers.remaining))
    rng = np.random.default_rng(9)
    taken = rng.integers(len(engine), size=(2000, len(engine)))
    again = engine[taken].mean(axis=1) / sampled[taken].mean(axis=1)
    return {
        "pairs": len(engine),
        "crps_sampler_days": round(float(sampled.mean()), 3),
        "crps_engine_days": round(float(engine.mean()), 3),
        "ratio": round(float(engine.mean() / sampled.mean()), 4),
        "ratio_low_90": round(float(np.quantile(again, 0.05)), 4),
        "ratio_high_90": round(float(np.quantile(again, 0.95)), 4),
    }


def main(folder: Path) -> None:
    """Digest the chains of a folder."""
    room = rack_room()
    fit = WearFit.from_dict(json.loads((folder / "fit.json").read_text()))
    answers = engine_answers(room, fit)
    panel = WearModel(room.log, room.as_of).panel
    data = arrays(panel, fit.noise)
    chains = _chains(folder)
    chains["log_wear"] = _log_wear(chains, panel, data["seen_covariates"])
    remaining = _remaining(chains, answers)
    current = np.flatnonzero(panel.current)
    rate, wear = _pooled(chains["log_rate"]), _pooled(chains["log_wear"])
    paths = pd.DataFrame(
        {
            "log_rate": rate.mean(axis=0),
            "log_rate_sd": rate.std(axis=0, ddof=1),
            "log_wear": wear.mean(axis=0),
            "log_wear_sd": wear.std(axis=0, ddof=1),
            "ess": effective_sample_size(chains["log_rate"]),
        },
        index=path_index(panel),
    )
    paths.round(5).round({"ess": 0}).to_csv(HERE / "paths.csv")
    pairs = pd.DataFrame(
        quantiles(remaining * answers.logged[:, None]),
        columns=["left_p10", "left_p50", "left_p90"],
        index=answers.pair_ids,
    )
    pairs.round(3).rename_axis("pair_id").to_csv(HERE / "pairs.csv")
    result = {
        "panel": fingerprint(room),
        "versions": {n: version(n) for n in ("numpyro", "jax", "numpy")},
        "fixed_at_the_engine": {
            "thumb": vars(fit.noise.thumb),
            "sending": vars(fit.noise.sending),
        },
        "convergence": _convergence(chains, chains["end_mm"][..., current]),
        "log_spreads": _moments(list(SPREAD_NAMES), chains["log_spreads"]),
        "log_gauge_sds": _moments(list(GAUGES), chains["log_gauge_sds"]),
        "log_process": _moments(["process"], chains["log_process"][..., None]),
        "population": _moments(
            [
                *_SCALARS,
                *(f"material_{m}" for m in data["materials"]),
                *(f"log_{c}" for c in data["seen_covariates"]),
            ],
            np.concatenate(list(_population(chains).values()), axis=-1),
        ),
        "scores": _scores(room, answers, remaining),
    }  # fmt: skip
    (HERE / "result.json").write_text(json.dumps(result, indent=1) + "\n")
    shown = {k: result[k] for k in ("convergence", "scores")}
    sys.stdout.write(json.dumps(shown, indent=1) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
