"""Examples of the library: does every public name show one that runs?"""

from __future__ import annotations

import doctest
import functools

import pytest

from solespan import forecast
from solespan.synthetic_data import scenarios

RULES = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


@pytest.fixture(scope="module", autouse=True)
def _one_world():
    """Every example makes the same small world; it is made once."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(scenarios, "world", functools.cache(scenarios.world))
        yield


@pytest.mark.parametrize("name", forecast.__all__)
def test_every_public_name_has_an_example_that_runs(name):
    thing = getattr(forecast, name)
    found = [t for t in doctest.DocTestFinder(recurse=False).find(thing, name) if t.examples]
    assert found, f"{name} shows no example"
    said: list[str] = []
    result = doctest.DocTestRunner(optionflags=RULES).run(found[0], out=said.append)
    assert result.failed == 0, "".join(said)
