"""Dask runner service: how do parts of a log live and work on a Dask cluster?

`DaskRunner(client)` is a `forecast.panel.wearer_parts.Runner`: parts stay on the workers as
futures, only results come back. `dask_cluster(address)` opens one, and
`spare_cluster` for the background. Needs the extra `dask`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any

import structlog

from solespan.api.errors import Refused

__all__ = ["DaskRunner", "dask_cluster", "spare_cluster"]

log = structlog.get_logger("solespan.cluster")

LEAST_WEARERS = 500


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

    def hold(self, parts: list[Any]) -> list[Any]:
        """Send parts to the workers, each to one; return futures."""
        futures: list[Any] = self._client.scatter(parts, hash=False)
        return futures

    def share(self, value: Any) -> Any:
        """Send one value to every worker; return its future."""
        return self._client.scatter(value, broadcast=True, hash=False)

    @property
    def workers(self) -> int:
        """How many workers the cluster has now, at least one."""
        return max(len(self._client.scheduler_info(n_workers=-1)["workers"]), 1)


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


@contextmanager
def spare_cluster(
    address: str | None, count_wearers: Callable[[], int]
) -> Iterator[DaskRunner | None]:
    """Connect to a scheduler for work that nobody waits for on so many wearers.

    None where no scheduler is set, none answers, or the work is done sooner here.
    """
    if address is None or count_wearers() < LEAST_WEARERS:
        yield None
        return
    with ExitStack() as opened:
        try:
            runner = opened.enter_context(dask_cluster(address))
        except Refused as failure:
            log.warning("no_cluster", problem=failure.what)
            runner = None
        yield runner
