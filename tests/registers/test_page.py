"""Do an entry and a template bring a new page, and a file and a line a new figure, everywhere?"""

from __future__ import annotations

import pytest

PAGE = '''"""Gloss page: how long does a shine last?"""

from __future__ import annotations

import pandas as pd
from fastapi import APIRouter, Request, Response

from solespan.api.routes.http.requests import Context
from solespan.api.routes.http.page_entry import Need, PageEntry
from solespan.api.routes.http.pages import PageRoute, page_answer
from solespan.dashboards.figures import FIGURES
from solespan.dashboards.navigation import NavEntry
from solespan.dashboards.render import inline_figure

router = APIRouter(route_class=PageRoute)


@router.get("/gloss")
def read_gloss(ctx: Context, request: Request) -> Response:
    """Show the page."""
    today = pd.Timestamp(ctx.clock.today("UTC"))
    gloss = pd.DataFrame({"day": [1, 2], "share": [1.0, 0.5]})
    drawn = FIGURES["gloss_kept"].draw(gloss, today=today)
    return page_answer(request, "bench/gloss.html", {"drawn": inline_figure(drawn)})


PAGE = PageEntry(
    router,
    NavEntry("Gloss", "/gloss", "shop"),
    templates=("bench/gloss.html",),
    needs=(Need("/gloss", "manage", "manage"),),
)
'''
TEMPLATE = """{% extends "base.html" %}
{% from "macros.html" import figure %}
{% block title %}Gloss{% endblock %}
{% block content %}
<h1>Gloss</h1>
{{ figure("gloss_kept", "", "The shine fades.", json=drawn) }}
{% endblock %}
"""
FIGURE = '''"""Gloss kept: what share of a shine is left after so many days?"""

from __future__ import annotations

import pandas as pd
import plotly.graph_objects as go


def gloss_kept(gloss: pd.DataFrame, *, today: pd.Timestamp) -> go.Figure:
    """Draw columns `day` and `share`."""
    del today
    return go.Figure(go.Scatter(x=gloss["day"], y=gloss["share"]))
'''
LINE = """    "gloss_kept": FigureEntry(
        gloss_kept, "How long a shine lasts", ("gloss",), "gloss"
    ),
"""


@pytest.mark.slow
def test_an_entry_brings_a_page_and_a_line_a_figure(checkout):
    checkout.write("api/routes/bench/gloss_page.py", PAGE)
    checkout.write("dashboards/templates/bench/gloss.html", TEMPLATE)
    register = "api/routes/page_register.py"
    checkout.put_before(register, "    stock_page.PAGE", "    gloss_page.PAGE,\n")
    checkout.replace(register, "bench import order_forms", "bench import gloss_page, order_forms")
    assert len(checkout.by_hand) == 3

    checkout.write("dashboards/figures/gloss_kept.py", FIGURE)
    figures = "dashboards/figures/__init__.py"
    checkout.put_before(figures, '    "due_spread"', LINE)
    imported = "from solespan.dashboards.figures.gloss_kept import gloss_kept\n"
    checkout.put_before(figures, "from solespan.dashboards.figures.left_right", imported)
    assert len(checkout.by_hand) == 5
    checkout.run("page_in_use.py")
