"""Bounded rendering: how is a wording filled in within set numbers of steps and characters?

Every turn of a loop costs as many steps as its body has nodes, and a filter costs what it reads.
Output is counted while it is made. So no wording multiplies time or memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextvars import ContextVar
from functools import wraps
from typing import Any

from jinja2 import Template, nodes, pass_eval_context
from jinja2.filters import do_join
from jinja2.sandbox import SandboxedEnvironment

__all__ = ["MOST_CHARACTERS", "MOST_STEPS", "TooMuch", "bound_filters", "compiled", "filled"]

MOST_CHARACTERS = 100_000
MOST_STEPS = 100_000
CHARACTERS_PER_STEP = 50
_TURNS = "turns of a loop"  # no wording can name a filter with spaces
_LEFT: ContextVar[list[int]] = ContextVar("steps_left")


class TooMuch(Exception):
    """A wording takes more steps or characters than it may."""


def filled(template: Template, facts: Mapping[str, Any]) -> str:
    """Fill in a template. Raises `TooMuch`, and what Jinja2 raises."""
    token = _LEFT.set([MOST_STEPS])
    parts, length = [], 0
    try:
        for part in template.generate(**facts):
            length += len(part)
            if length > MOST_CHARACTERS:
                raise TooMuch("it becomes too long")
            parts.append(part)
    finally:
        _LEFT.reset(token)
    return "".join(parts)


def compiled(environment: SandboxedEnvironment, source: str) -> Template:
    """Compile a wording whose loops count their turns. Raises what Jinja2 raises."""
    token = _LEFT.set([MOST_STEPS])  # constants are worked out here
    try:
        tree = environment.parse(source)
        for loop in list(tree.find_all(nodes.For)):
            cost = nodes.Const(1 + sum(1 for _ in loop.find_all(nodes.Node)))
            loop.iter = nodes.Filter(loop.iter, _TURNS, [cost], [], None, None, lineno=loop.lineno)
        tree.set_environment(environment)
        code = environment.compile(tree)
        return environment.template_class.from_code(
            environment, code, environment.make_globals(None)
        )
    finally:
        _LEFT.reset(token)


def bound_filters(environment: SandboxedEnvironment) -> None:
    """Let every filter of an environment pay for what it reads."""
    for name, plain in environment.filters.items():
        environment.filters[name] = _join if name == "join" else _paid(plain)
    environment.filters[_TURNS] = _turns


def _pay(steps: int) -> None:
    left = _LEFT.get()
    left[0] -= steps
    if left[0] < 0:
        raise TooMuch("it takes too many steps: a loop in a loop, or a long list")


def _turns(values: Iterable[Any], cost: int) -> Iterator[Any]:
    for value in values:
        _pay(cost)
        yield value


def _paid(plain: Any) -> Any:
    @wraps(plain)
    def paid(*given: Any, **named: Any) -> Any:
        _pay(1 + sum(len(one) for one in given if isinstance(one, str)) // CHARACTERS_PER_STEP)
        made = plain(*given, **named)
        _refuse_long(len(made) if isinstance(made, str) else 0)
        return made

    return paid


@pass_eval_context
def _join(eval_ctx: Any, value: Iterable[Any], d: str = "", attribute: Any = None) -> str:
    """Join within bounds: a join in the separator of a join grows by powers."""
    parts, length = [], 0
    for part in value:
        length += len(str(part)) + len(str(d))
        _refuse_long(length)
        _pay(1)
        parts.append(part)
    joined: str = do_join(eval_ctx, parts, d, attribute)
    return joined


def _refuse_long(length: int) -> None:
    if length > MOST_CHARACTERS:
        raise TooMuch("it becomes too long")
