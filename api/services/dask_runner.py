"""How do the parts of a split fit live and work on a Dask cluster?

`DaskRunner(client)` is a `forecast.everyone.Runner`: parts stay on the workers as futures, only
small results come back. Needs the extra `dask`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

__all__ = ["DaskRunner"]


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
