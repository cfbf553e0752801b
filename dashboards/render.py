"""Template rendering: how does a context become a page?"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date
from functools import cache
from typing import Any
from urllib.parse import quote

import plotly.graph_objects as go
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from solespan.dashboards import theme, wording
from solespan.dashboards.assets import assets, plotly_map_style_id
from solespan.dashboards.chapters import chapter_for
from solespan.dashboards.chart import Chart
from solespan.dashboards.drawing import csv_text, drawing, drawn_rows
from solespan.dashboards.figures import FIGURES
from solespan.dashboards.language import ENGLISH, Language
from solespan.dashboards.navigation import GROUPS, NavEntry, entry_of

__all__ = ["figure_json", "inline_figure", "render"]


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("solespan.dashboards"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.filters["part"] = lambda text: quote(str(text), safe="")
    environment.filters["day"] = lambda iso: wording.short_date(date.fromisoformat(str(iso)[:10]))
    environment.filters["tel"] = lambda phone: "".join(c for c in phone if c in "+0123456789")
    environment.filters["spaced"] = wording.spaced
    environment.filters["mark"] = lambda band: str(band).replace(" ", "-")
    environment.globals.update(
        asset=lambda name: f"/assets/{assets()[name].url_name}",
        chapter_for=chapter_for,
        drawing=drawing,
        csv_text=csv_text,
        drawn_rows=drawn_rows,
        figures=FIGURES,
        map_style_id=plotly_map_style_id,
        nav_groups=GROUPS,
    )
    return environment


def render(template: str, context: Mapping[str, Any], entries: Sequence[NavEntry] = ()) -> str:
    """Fill one template of `dashboards/templates`; every value is escaped.

    `entries` are those of the navigation, for pages that show it. `language` in the context is the
    reader's; English where it is left out.

    Raises `jinja2.UndefinedError` where the template needs what the context lacks.
    """
    frame: dict[str, Any] = {
        "template": template,
        "nav": entries,
        "nav_here": entry_of(template, entries),
    }
    language: Language = context.get("language", ENGLISH)
    frame |= {"language": language, "_": language.gettext, "ngettext": language.ngettext}
    return _environment().get_template(template).render({**frame, **context})


@cache
def _templates() -> dict[str, Any]:
    return {name: template.to_plotly_json() for name, template in theme.TEMPLATES.items()}


def inline_figure(figure: Chart | go.Figure) -> Markup:
    """Write a figure as JSON that stands inside a page: one answer holds words and figure."""
    return Markup(figure_json(figure))  # noqa: S704 - figure_json escapes <, > and &


def figure_json(figure: Chart | go.Figure) -> str:
    """Write a figure as JSON: `data`, `layout` without template, and `templates` light and dark.

    The characters that could end a script element are written as escapes, so that the text may
    also stand inside a page.
    """
    checked = figure.plotly() if isinstance(figure, Chart) else figure
    plain = json.loads(checked.to_json())
    plain["layout"].pop("template", None)
    text = json.dumps(
        {"data": plain["data"], "layout": plain["layout"], "templates": _templates()},
        allow_nan=False,
        separators=(",", ":"),
        default=lambda value: value.to_plotly_json(),
    )
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
