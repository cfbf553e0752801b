"""Dask runner service: how do the parts of a split fit live and work on a Dask cluster?

`DaskRunner(client)` is a `forecast.model.full_panel_fit.Runner`: parts stay on the workers as
futures, only small results come back. `dask_cluster(address)` opens one. Needs the extra `dask`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise
from typing import Any

from solespan.api.errors import Refused
from solespan.forecast.log import WearLog

__all__ = ["DaskRunner", "dask_cluster"]


class DaskRunner:
    """Parts are futures of one `distributed.Client`."""

    def __init__(self, client: Any) -> None:
        self._client = client

    def map(self, function: Callable[..., Any], *columns: list[Any]) -> list[Any]:
        """Do something with each part on the worker that has it; return futures."""
        futures: list[Any] = self._client.map(function, *columns, pure=False)
        return futures

    def gather(self, parts: list[Any]) -> list[Any]:
        """Wait for futures and fetch what they hold."""
        results: list[Any] = self._client.gather(parts)
        return results

    def spread(self, log: WearLog) -> list[Any]:
        """Send a log to the workers, split by wearer, a part a worker; return futures."""
        with_sole = set(log.soles["pair_id"])
        owners = log.pairs.loc[log.pairs["pair_id"].isin(with_sole), "wearer_id"]
        wearers = sorted(set(owners))
        many = max(min(len(self._client.scheduler_info()["workers"]), len(wearers)), 1)
        cuts = [len(wearers) * k // many for k in range(many + 1)]
        parts = [log.of_wearers(wearers[a:b]) for a, b in pairwise(cuts)]
        futures: list[Any] = self._client.scatter(parts)
        return futures


@contextmanager
def dask_cluster(address: str) -> Iterator[DaskRunner]:
    """Connect to a scheduler. Raises `Refused` when Dask is not installed or nobody answers."""
    try:
        import distributed  # noqa: PLC0415 - an extra: `solespan[dask]`
    except ImportError:
        raise Refused(
            "Dask is not installed.",
            where="--dask",
            remedy="Install it: pip install 'solespan[dask]'",
        ) from None
    try:
        client = distributed.Client(address, timeout="10s")
    except (OSError, ValueError) as cause:
        raise Refused(
            f"No Dask scheduler answers at {address}: {cause}",
            where="--dask",
            accepted="the address of a scheduler, such as tcp://10.0.0.5:8786",
            remedy="Start one: dask scheduler; and workers: dask worker ADDRESS",
        ) from cause
    with client:
        yield DaskRunner(client)
