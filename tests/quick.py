"""Quick cases: which cases of a test run in the quick suite, while all run in CI?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest

__all__ = ["some_quick"]


def some_quick(cases: Iterable[Any], *, every: int) -> list[Any]:
    """Return all cases; of `every` so many one is quick, and the others are marked slow."""
    return [
        case if place % every == 0 else pytest.param(case, marks=pytest.mark.slow)
        for place, case in enumerate(cases)
    ]
