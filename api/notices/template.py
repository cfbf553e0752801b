"""Template check.

Can a shop's wording be filled in for every customer, and is it safe whatever a name holds?

Templates are Jinja2, and only a small part of it: values, `if`, `for`, comparisons and a few
filters. What else there is (calls, macros, includes, switching escaping off) is refused when the
wording is saved, with its line. Then it is filled in for invented customers with hostile names, and
the HTML must keep its shape.
"""

from __future__ import annotations

import re
import traceback
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from html.parser import HTMLParser
from importlib.resources import files
from typing import Any

from jinja2 import StrictUndefined, TemplateError, TemplateSyntaxError, nodes
from jinja2.sandbox import SandboxedEnvironment

from solespan.api.errors import Refused
from solespan.api.notices.bounded_rendering import TooMuch, bound_filters, compiled, filled
from solespan.api.notices.words import CAUTIONS, THUMB_CHECK
from solespan.api.schemas.notices.notices import NoticeTemplate
from solespan.dashboards.language import ENGLISH, Language

__all__ = [
    "Rendered",
    "TemplateRefused",
    "check_template",
    "messages_of",
    "render_notice",
    "sample_facts",
    "shipped_template",
]

MOST_SUBJECT_CHARACTERS = 200
MOST_NESTED_LOOPS = 2
MOST_NESTED_NODES = 60
MOST_KEPT = 64
MOST_OPEN_TAGS = 20
MOST_TAGS = 5_000
_FILTERS = ("capitalize", "default", "escape", "first", "join", "last", "length", "lower", "upper")
_TESTS = ("defined", "equalto", "none", "true", "false")
_NODES = (
    nodes.Template,
    nodes.Output,
    nodes.TemplateData,
    nodes.Name,
    nodes.Getattr,
    nodes.Getitem,
    nodes.Const,
    nodes.For,
    nodes.If,
    nodes.Filter,
    nodes.Test,
    nodes.Not,
    nodes.And,
    nodes.Or,
    nodes.Compare,
    nodes.Operand,
    nodes.CondExpr,
)
_ACCEPTED = f"values, if, for, comparisons, and the filters {', '.join(_FILTERS)}"
_PART_NAMES = {"subject": "subject.txt", "text": "text.txt", "html": "notice.html"}
_VALUES_UNFIT = (TypeError, ValueError, ArithmeticError, LookupError, AttributeError)
# What Python raises where a wording nests deeper than its parser goes.
_TOO_DEEP = (RecursionError, MemoryError, SyntaxError)
_MESSAGE = re.compile(r"\[\[(.+?)\]\]")  # in the files of the shipped wording only
_UNSAFE_TAGS = {"script", "style", "iframe", "object", "embed", "form", "base", "link", "svg"}


class TemplateRefused(Refused):
    """The wording cannot be used; `where` names part and line."""

    def __init__(self, part: str, line: int | None, why: str, accepted: str = "") -> None:
        where = part if line is None else f"{part}, line {line}"
        super().__init__(
            f"The {part} template cannot be used: {why}.",
            where=where,
            accepted=accepted,
            remedy="Correct it and save again; the wording in use is unchanged.",
        )


@dataclass(frozen=True)
class Rendered:
    """One notice in words."""

    subject: str
    text: str
    html: str


@cache
def shipped_template(language: Language = ENGLISH) -> NoticeTemplate:
    """Return the wording that a shop begins with, in a language of its customers."""

    def said(found: re.Match[str]) -> str:
        return language.gettext(found[1])

    return NoticeTemplate(**{part: _MESSAGE.sub(said, text) for part, text in _sources().items()})


def messages_of() -> set[str]:
    """Return the messages of the shipped wording, which every catalogue must hold."""
    return {message for text in _sources().values() for message in _MESSAGE.findall(text)}


def _sources() -> dict[str, str]:
    folder = files("solespan.api.notices") / "templates"
    return {part: (folder / name).read_text("utf-8") for part, name in _PART_NAMES.items()}


@cache
def _environment(part: str) -> SandboxedEnvironment:
    environment = SandboxedEnvironment(
        autoescape=part == "html",
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        cache_size=0,
    )
    environment.globals.clear()
    environment.filters = {n: environment.filters[n] for n in _FILTERS}
    environment.filters["e"] = environment.filters["escape"]
    bound_filters(environment)
    environment.tests = {n: environment.tests[n] for n in (*_TESTS, "eq", "ne", "gt", "lt")}
    return environment


@lru_cache(maxsize=MOST_KEPT)
def _compiled(part: str, source: str) -> Any:
    return compiled(_environment(part), source)


def render_notice(template: NoticeTemplate, facts: Mapping[str, Any]) -> Rendered:
    """Fill in all three parts, or none. Raises `TemplateRefused`."""
    parts = {}
    for part in _PART_NAMES:
        try:
            parts[part] = filled(_compiled(part, getattr(template, part)), facts)
        except (TemplateError, TooMuch, *_VALUES_UNFIT) as cause:
            raise TemplateRefused(part, _line_of(cause), str(cause).rstrip(".")) from None
        except _TOO_DEEP:
            raise TemplateRefused(part, None, "it is nested too deep") from None
    subject = " ".join(parts["subject"].split())  # a header is one line, whatever a name holds
    if not subject:
        raise TemplateRefused("subject", None, "it can become empty")
    if len(subject) > MOST_SUBJECT_CHARACTERS:
        subject = subject[: MOST_SUBJECT_CHARACTERS - 1] + "…"
    return Rendered(subject, parts["text"].strip() + "\n", parts["html"])


def _line_of(cause: BaseException) -> int | None:
    """Find the template's line in which a value could not be filled in."""
    steps = traceback.extract_tb(cause.__traceback__)
    lines = [step.lineno for step in steps if step.filename == "<template>"]
    return lines[-1] if lines else None


def check_template(template: NoticeTemplate) -> Rendered:
    """Return a sample of the wording. Raises `TemplateRefused` with part, line and reason."""
    for part in _PART_NAMES:
        _check_syntax(part, getattr(template, part))
    plain, hostile = (
        [(render_notice(template, facts), facts["by_letter"]) for facts in _situations(name)]
        for name in ("Ada", _HOSTILE)
    )
    for (calm, by_letter), (wild, _) in zip(plain, hostile, strict=True):
        if not by_letter:  # the page of letters adds the way out as a code
            _check_links(calm)
        if _shape(calm.html) != _shape(wild.html):
            raise TemplateRefused(
                "html",
                None,
                "a name with quotes or brackets would change its structure",
                'values between tags, or in attributes with quotes: href="{{ ... }}"',
            )
    return plain[0][0]


def _check_syntax(part: str, source: str) -> None:
    try:
        tree = _environment(part).parse(source)
    except TemplateSyntaxError as cause:
        raise TemplateRefused(part, cause.lineno, str(cause.message).rstrip(".")) from None
    except RecursionError:
        raise TemplateRefused(part, None, "it is nested too deep") from None
    except ValueError:  # more digits than a number may have
        raise TemplateRefused(part, None, "a number in it is too long") from None
    for node, line, depth in _walk(part, tree, 1, 0):
        if not isinstance(node, _NODES) or (isinstance(node, nodes.For) and node.recursive):
            name = type(node).__name__
            raise TemplateRefused(part, line, f"{name} is not accepted", _ACCEPTED)
        if depth > MOST_NESTED_LOOPS:
            raise TemplateRefused(part, line, "loops are nested too deep")
    try:
        _compiled(part, source)
    except TemplateError as cause:  # an unknown filter or test
        why = str(cause.message or cause).rstrip(".")
        raise TemplateRefused(part, getattr(cause, "lineno", None), why, _ACCEPTED) from None
    except _TOO_DEEP:
        raise TemplateRefused(part, None, "it is nested too deep") from None


def _walk(
    part: str, node: nodes.Node, line: int, loops: int, level: int = 0
) -> Iterator[tuple[nodes.Node, int, int]]:
    line = node.lineno or line
    if level > MOST_NESTED_NODES:
        raise TemplateRefused(part, line, "it is nested too deep")
    loops += isinstance(node, nodes.For)
    yield node, line, loops
    for child in node.iter_child_nodes():
        yield from _walk(part, child, line, loops, level + 1)


def _check_links(rendered: Rendered) -> None:
    for part in ("text", "html"):
        if _SAMPLE_LINK not in getattr(rendered, part):
            raise TemplateRefused(
                part,
                None,
                "it has no link to stop these notices",
                "{{ unsubscribe_link }} somewhere in it, in every case",
            )


class _Shape(HTMLParser):
    """Collects tags and attribute names in their order, and refuses what runs or loads."""

    def __init__(self) -> None:
        super().__init__()
        self.parts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a tag."""
        line = self.getpos()[0]
        if tag in _UNSAFE_TAGS:
            raise TemplateRefused("html", line, f"the element {tag} is not accepted")
        for name, value in attrs:
            address = "".join((value or "").split()).lower()
            runs = address.startswith(("javascript:", "vbscript:", "data:"))
            if name.startswith("on") or (name in ("href", "src", "action") and runs):
                raise TemplateRefused("html", line, f"the attribute {name} would run something")
            if name == "style" and _HOSTILE_WORD in (value or ""):
                raise TemplateRefused("html", line, "a style may not hold a name")
        self.parts.append(f"<{tag} {' '.join(name for name, _ in attrs)}>")

    def handle_endtag(self, tag: str) -> None:
        """Note an end."""
        self.parts.append(f"</{tag}>")

    def handle_comment(self, data: str) -> None:
        """Note a comment, which no value may end."""
        self.parts.append(f"<!--{len(data.split('>'))}-->")

    def handle_decl(self, decl: str) -> None:
        """Note a declaration."""
        self.parts.append(f"<!{decl}>")


def _shape(html: str) -> list[str]:
    # The parser looks from every open tag to the end of the text, so there may be few of them.
    if any(piece.count("<") > MOST_OPEN_TAGS for piece in html.split(">")):
        raise TemplateRefused("html", None, "an element or a comment in it is not closed")
    if html.count("<") > MOST_TAGS:
        raise TemplateRefused("html", None, "it has too many elements")
    shape = _Shape()
    shape.feed(html)
    shape.close()
    return shape.parts


_SAMPLE_LINK = "https://shop.example/unsubscribe/sample"
_HOSTILE_WORD = "javascript:alert"
_HOSTILE = f"{_HOSTILE_WORD}(1) --></textarea></a>\"'><b onload=x y=z>`{{{{ 7 }}}}&\r\nBcc: x"


def _situations(name: str) -> list[dict[str, Any]]:
    """Invented customers: one pair or several, first or second notice, by mail or letter."""
    return [
        sample_facts(name, n, second=second) | {"by_letter": by_letter}
        for by_letter in (False, True)
        for n in (1, 3)
        for second in (False, True)
    ]


def sample_facts(name: str, n_pairs: int, *, second: bool) -> dict[str, Any]:
    """Return every value that a template may use, for an invented customer."""
    pair = {
        "label": f"Oxford of {name}",
        "picture": "cid:picture-0",
        "felt": "On 3 October the left sole was felt: it gives a little.",
        "guard": False,
        "top_piece": "",
        "when": "between mid-March and early May",
        "sure": "four times in five within that time",
        "bring_by": "by 12 March",
        "stop_wearing": False,
        "first_foot": "left",
        **{f"{p}_link": f"https://shop.example/answers/{p}" for p in _LINKS},
    }
    others = [
        pair | {"stop_wearing": i % 2 == 1, "first_foot": "", "top_piece": "in early May"}
        for i in range(1, n_pairs)
    ]
    return {
        "shop": {"name": f"Shop of {name}", "contact": f"12 Last Lane, {name}"},
        "customer": {"name": name},
        "pairs": [pair, *others],
        "second": second,
        "guards": False,
        "by_letter": False,
        "language": ENGLISH.code,
        "price": "A full sole costs 110 EUR.",
        "wait": "The bench needs about 12 days.",
        "unsubscribe_link": _SAMPLE_LINK,
        "thumb_check": list(THUMB_CHECK),
        "cautions": list(CAUTIONS),
    }


_LINKS = ("book", "check", "elsewhere", "decline")
