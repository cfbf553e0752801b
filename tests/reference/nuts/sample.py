"""What is the exact posterior of the wear model on the panel? (Takes about ten minutes.)

Run once per chain, then `python -m tests.reference.nuts.digest`. It needs numpyro and jax, which no
test does:

    python -m tests.reference.nuts.sample CHAIN WARMUP DRAWS FOLDER
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import jax
import numpy as np
import numpyro
from numpyro.handlers import seed, substitute, trace
from numpyro.infer import MCMC, NUTS, init_to_value

from solespan.forecast import WearFit, WearModel
from tests.reference.nuts.arrays import arrays
from tests.reference.nuts.model import describe, model
from tests.reference.nuts.rack_room import rack_room

numpyro.enable_x64()

# Rough posterior scales: what the sampler's mass matrix starts from; adapted in the warm-up.
_TOP = {
    "level": 0.15,
    "material": 0.13,
    "drive_ball": 0.02,
    "covariates": 0.08,
    "start_mm": 0.02,
    "packing_mm": 0.012,
    "thumb_shift_mm": 0.05,
    "thumb_limit": 0.1,
    "sending_mm": 0.1,
    "gap_share": 0.12,
    "log_spreads": 0.2,
    "log_gauge_sds": 0.04,
    "log_process": 0.3,
}
_BELOW = {
    "wearer_rate": 0.08,
    "pair_rate": 0.05,
    "z_wearer_foot": 0.6,
    "sole_start": 0.07,
    "z_gauge": 0.6,
    "z_thumb": 0.5,
}


def _scales(data: dict, start: dict) -> dict:
    """Initial inverse mass matrix: one dense block, the rest diagonal."""

    def block(names: tuple[str, ...], scales: dict[str, float]) -> np.ndarray:
        return np.concatenate([np.full(np.size(start[n]), scales.get(n, 0.9) ** 2) for n in names])

    below = tuple(sorted(set(start) - set(_TOP)))
    return {tuple(_TOP): np.diag(block(tuple(_TOP), _TOP)), below: block(below, _BELOW)}


def _start(data: dict, chain: int) -> dict:
    """Start every unknown near its prior's middle, each chain elsewhere."""
    fixed: dict = {}
    key = jax.random.PRNGKey(1000 + chain)
    sites = trace(seed(substitute(describe, data=fixed), key)).get_trace(data)
    rng = np.random.default_rng(chain)
    for name in sites:
        site = trace(seed(substitute(describe, data=fixed), key)).get_trace(data)[name]
        mean, variance = np.asarray(site["fn"].mean), np.asarray(site["fn"].variance)
        fixed[name] = mean + 0.3 * np.sqrt(variance) * rng.standard_normal(mean.shape)
    return fixed


def main(chain: int, warmup: int, draws: int, folder: Path) -> None:
    """Sample one chain and keep what is compared."""
    room = rack_room()
    found = WearModel(room.log, room.as_of)
    folder.mkdir(parents=True, exist_ok=True)
    stored = folder / "fit.json"  # all chains take thumb and sending from one fit
    if not stored.exists():
        stored.write_text(json.dumps(found.fit().to_dict()))
    fit = WearFit.from_dict(json.loads(stored.read_text()))
    data = arrays(found.panel, fit.noise)
    start = _start(data, chain)
    kernel = NUTS(
        model,
        dense_mass=[tuple(_TOP)],
        inverse_mass_matrix=_scales(data, start),
        init_strategy=init_to_value(values=start),
        target_accept_prob=0.8,
        max_tree_depth=(8, 10),
    )
    mcmc = MCMC(kernel, num_warmup=warmup, num_samples=draws, progress_bar=True)
    begin = time.time()
    mcmc.run(jax.random.PRNGKey(chain), data, extra_fields=("diverging", "num_steps", "energy"))
    samples, extra = mcmc.get_samples(), mcmc.get_extra_fields()
    states = jax.jit(
        lambda s: jax.lax.map(
            lambda p: {
                k: w
                for k, w in substitute(describe, data=p)(data).items()
                if k in ("log_rate", "end_mm")
            },
            s,
        )
    )(samples)
    np.savez(
        folder / f"chain{chain}.npz",
        **{k: np.asarray(samples[k]) for k in _TOP},
        **{k: np.asarray(w) for k, w in states.items()},
        diverging=np.asarray(extra["diverging"]),
        steps=np.asarray(extra["num_steps"]),
        energy=np.asarray(extra["energy"]),
        warmup=warmup,
        seconds=time.time() - begin,
    )
    sys.stdout.write(
        f"chain {chain}: {time.time() - begin:.0f} s, {int(extra['diverging'].sum())} divergences, "
        f"{float(extra['num_steps'].mean()):.0f} steps a draw\n"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4]))
