"""What does the wear model say, written out for a sampler instead of for the engine?

The model of `forecast.model.linearise` and `forecast.model.hierarchy` without their approximations:
the exponential of the log rate is not linearised, grades are judged by their own probabilities,
slips are a mixture, and the spreads are sampled. How far apart the thumb's cut points lie, its
noise, and how loosely soles are sent are fixed at what the engine learnt; all else has the engine's
priors.

Log rates of pairs are sampled as rates per wear day of reference (`pair_rate`), offsets of soles as
a gauge reads them: shifts without a Jacobian that spare the sampler long ridges.
"""

from __future__ import annotations

from typing import Any

import jax
import jax.numpy as jnp
import numpyro
import numpyro.distributions as dist
from jax.scipy.special import log_ndtr

from solespan.forecast.covariates import COVARIATES
from solespan.forecast.model.estimation import GAUGE_LOG_SD, PROCESS_LOG_SD, PROCESS_MEDIAN_MM
from solespan.forecast.model.linearise import SLIP_SD_MM, SLIP_SHARE
from solespan.forecast.model.parameter_layout import population_prior
from solespan.forecast.panel.panel import GAUGES
from solespan.forecast.priors import METHOD_SD_MM, PACKING_DAYS, SPREADS

__all__ = ["SPREAD_NAMES", "describe", "model"]

SPREAD_NAMES = (
    "start", "packing", "shoe", "sole_start", "sole", "pair", "pair_foot", "gap", "wearer",
    "wearer_foot", "gauge", "thumb",
)  # fmt: skip
_REFERENCE = 1.0  # standard wear days added to both sides of a ratio of exposures


def _population(data: dict[str, Any]) -> dict[str, Any]:
    values = {
        name: numpyro.sample(name, dist.Normal(*data["priors"][name])) for name in data["priors"]
    }
    priors = jnp.array([population_prior(f"material_{m}") for m in data["materials"]])
    values["material"] = numpyro.sample("material", dist.Normal(priors[:, 0], priors[:, 1]))
    priors = jnp.array([population_prior(f"log_{c}") for c in data["seen_covariates"]])
    values["covariates"] = numpyro.sample("covariates", dist.Normal(priors[:, 0], priors[:, 1]))
    medians = jnp.log(jnp.array([SPREADS[n].median for n in SPREAD_NAMES]))
    log_sds = jnp.array([SPREADS[n].log_sd for n in SPREAD_NAMES])
    values["log_spreads"] = numpyro.sample("log_spreads", dist.Normal(medians, log_sds))
    medians = jnp.log(jnp.array([METHOD_SD_MM[g] for g in GAUGES]))
    values["log_gauge_sds"] = numpyro.sample("log_gauge_sds", dist.Normal(medians, GAUGE_LOG_SD))
    values["log_process"] = numpyro.sample(
        "log_process", dist.Normal(jnp.log(PROCESS_MEDIAN_MM), PROCESS_LOG_SD)
    )
    return values


def _multipliers(data: dict[str, Any], covariates: Any) -> jax.Array:
    """Weights of the cells of wear days, and of the hours at the wheel in them."""
    by_name = dict(zip(data["seen_covariates"], covariates, strict=True))
    flags = jnp.array([by_name.get(c, 0.0) for c in COVARIATES[:-1]])
    scale = jnp.exp(data["flags"] @ flags)
    return jnp.concatenate([scale, by_name.get("driving", 0.0) * scale])


def _standard(name: str, size: int) -> jax.Array:
    return numpyro.sample(name, dist.Normal(0.0, 1.0).expand([size]).to_event(1))


def _normal(name: str, mean: jax.Array, sd: jax.Array, size: int) -> jax.Array:
    return numpyro.sample(name, dist.Normal(jnp.broadcast_to(mean, (size,)), sd).to_event(1))


def describe(data: dict[str, Any]) -> dict[str, jax.Array]:
    """Sample every unknown and follow it to the thickness of every path at every node."""
    v = _population(data)
    sd = dict(zip(SPREAD_NAMES, jnp.exp(v["log_spreads"]), strict=True))
    sole_pair, pair_wearer = data["sole_pair"], data["pair_wearer"]
    n_wearers, n_pairs, n_soles = len(data["gauged"]), len(pair_wearer), len(sole_pair)
    n_paths, path_sole, side = data["n_paths"], data["path_sole"], data["side"]
    path_pair = sole_pair[path_sole]
    path_wearer = pair_wearer[path_pair]

    scale = _multipliers(data, [v["covariates"][i] for i in range(len(data["seen_covariates"]))])
    usual = _multipliers(data, [population_prior(f"log_{c}")[0] for c in data["seen_covariates"]])
    share = v["gap_share"] + sd["gap"] * _standard("z_gap", n_pairs)
    whole = jnp.maximum(data["pair_days"] @ scale + share * data["pair_silent"], 0.0)
    whole_usual = data["pair_days"] @ usual + 0.5 * data["pair_silent"]
    stretch = jnp.log((whole + _REFERENCE) / (whole_usual + _REFERENCE))

    drive = v["drive_ball"]
    wearer_mean = v["level"] + data["material_by_wearer"] @ v["material"]
    wearer_mean = wearer_mean + drive * data["drives_mean"]
    wearer_rate = _normal("wearer_rate", wearer_mean, sd["wearer"], n_wearers)
    turn = (data["material_by_pair"] - data["material_by_wearer"][pair_wearer]) @ v["material"]
    pair_mean = wearer_rate[pair_wearer] + turn + stretch
    pair_rate = _normal("pair_rate", pair_mean, sd["pair"], n_pairs) - stretch
    own = v["material"][data["material"]] - (data["material_by_pair"] @ v["material"])[sole_pair]
    sole_rate = pair_rate[sole_pair] + own + sd["sole"] * _standard("z_sole", n_soles)
    contrast = drive * data["drives_contrast"]
    contrast = contrast + sd["wearer_foot"] * _standard("z_wearer_foot", n_wearers)
    contrast = contrast[pair_wearer] + sd["pair_foot"] * _standard("z_pair_foot", n_pairs)
    log_rate = sole_rate[path_sole] + side * contrast[path_pair]
    log_rate = log_rate + sd["shoe"] * _standard("z_shoe", n_paths)

    gauge = sd["gauge"] * _standard("z_gauge", n_wearers)
    thumb = v["thumb_shift_mm"] + sd["thumb"] * _standard("z_thumb", n_wearers)
    as_read = (data["gauged"] * gauge)[pair_wearer[sole_pair]]
    sole_start = _normal("sole_start", v["start_mm"] + as_read, sd["sole_start"], n_soles) - as_read
    start = sole_start[path_sole] + sd["start"] * _standard("z_start", n_paths)
    packing = data["packs"] * (v["packing_mm"] + sd["packing"] * _standard("z_packing", n_paths))

    # process noise: a random walk in expected wear, one standard normal a node
    gap = share[path_pair][:, None]
    x = data["node_days"] @ scale
    worn = jnp.maximum(x + gap * data["node_silent"], 0.0)
    before = jnp.concatenate([jnp.zeros((n_paths, 1)), worn[:, :-1]], axis=1)
    step = jnp.where(data["node_real"], jnp.maximum(worn - before, 1e-9), 1e-9)
    z = jnp.append(_standard("z_process", data["n_nodes"]), 0.0)[data["node_index"]]
    rate = jnp.exp(log_rate)
    process = jnp.exp(v["log_process"])
    walk = jnp.sqrt(process * rate)[:, None] * jnp.sqrt(step) * z
    walk = walk @ jnp.triu(jnp.ones((z.shape[1], z.shape[1])))
    packed = jnp.minimum(x / PACKING_DAYS, 1.0)
    level_mm = data["nominal"] + start
    thickness = level_mm[:, None] - packing[:, None] * packed - rate[:, None] * worn + walk
    every = jnp.arange(n_paths)
    at_end = thickness[every, data["end_rank"]]
    settled = at_end - packing * (1.0 - packed[every, data["end_rank"]])
    return {
        "thickness": thickness,
        "new": level_mm,
        "bias": gauge[path_wearer],
        "shift": thumb[path_wearer],
        "thumb_limit": v["thumb_limit"],
        "sending": v["sending_mm"],
        "gauge_sd": jnp.exp(v["log_gauge_sds"]),
        "log_rate": log_rate,
        "end_mm": settled,
        "process": process,
        "spreads": jnp.exp(v["log_spreads"]),
    }


def _log_chance(low: jax.Array, high: jax.Array) -> jax.Array:
    """Log of the normal probability between two standardised bounds."""
    flip = low + high > 0
    a, b = jnp.where(flip, -high, low), jnp.where(flip, -low, high)
    a, b = jnp.maximum(a, -60.0), jnp.minimum(b, 60.0)
    log_a, log_b = log_ndtr(a), log_ndtr(b)
    return log_b + jnp.log1p(-jnp.exp(jnp.minimum(log_a - log_b, -1e-12)))


def model(data: dict[str, Any]) -> None:
    """Weigh what `describe` draws by the readings, the grades, and soles sent or still on."""
    s = describe(data)
    path = data["gauge_path"]
    seen = jnp.where(
        data["gauge_worn"] > 0, s["thickness"][path, data["gauge_rank"]], s["new"][path]
    )
    gap = data["gauge_mm"] - seen - s["bias"][path]
    sd = s["gauge_sd"][data["gauge_kind"]]
    good = jnp.log(1 - SLIP_SHARE) - jnp.log(sd) - 0.5 * jnp.square(gap / sd)
    slip = jnp.log(SLIP_SHARE) - jnp.log(SLIP_SD_MM) - 0.5 * jnp.square(gap / SLIP_SD_MM)
    numpyro.factor("readings", jnp.logaddexp(good, slip).sum())

    path = data["judged_path"]
    felt = s["thickness"][path, data["judged_rank"]] + data["judged_thumb"] * s["shift"][path]
    felt = felt + data["judged_limit"] * s["thumb_limit"] - data["judged_on"] * s["sending"]
    low = (data["judged_low"] - felt) / data["judged_sd"]
    high = (data["judged_high"] - felt) / data["judged_sd"]
    numpyro.factor("grades", _log_chance(low, high).sum())

    off = data["sent_mm"] + s["sending"] - s["thickness"][data["sent_path"], data["sent_rank"]]
    numpyro.factor("sent", -0.5 * jnp.square(off / data["sent_sd"]).sum())
