"""Which rack do the tests of commands work on?"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from typer.testing import CliRunner

from solespan.api.cli.main import build_app
from solespan.api.wiring import Services

Typed = Callable[..., str]


def terminal_of(services: Services) -> Typed:
    """Return what runs a command on the services' database and gives its text."""

    def typed(*words: str, stdin: bytes | None = None) -> str:
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("SOLESPAN_DATABASE_URL", services.settings.database_url)
            for place in ("solespan.api.wiring", "solespan.api.cli.bench.bench"):
                patch.setattr(f"{place}.Clock", lambda: services.clock)
            result = CliRunner().invoke(build_app(), words, input=stdin)
        if result.exception is not None:
            raise result.exception
        return result.stdout

    return typed


@pytest.fixture
def typed(fitted_services: Services) -> Typed:
    """Run a command on a fitted rack; give its text or raise its error."""
    return terminal_of(fitted_services)
