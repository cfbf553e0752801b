"""Chart description: what does a figure show, said once for both of its renderers?

The values are plain, in the vocabulary of the figure library (scatter and bar traces, axes, shapes,
annotations). `dashboards.drawing` draws them as SVG on the server. `Chart.plotly` checks them and
gives the library's own figure, for those who read values off.
"""

from __future__ import annotations

from typing import Any

import plotly.graph_objects as go

__all__ = ["Chart", "Trace", "bar", "scatter"]

Trace = dict[str, Any]


class Chart:
    """Description of one figure; its methods are named as those of the figure library.

    `finding` is the text alternative: what a reader would see, in a sentence or two.
    """

    def __init__(self, *traces: Trace, finding: str = "") -> None:
        self.data: list[Trace] = list(traces)
        self.layout: dict[str, Any] = {"xaxis": {}, "yaxis": {}, "shapes": [], "annotations": []}
        self.finding = finding

    def add_trace(self, trace: Trace) -> None:
        """Draw one more trace above those before."""
        self.data.append(trace)

    def add_shape(self, **shape: Any) -> None:
        """Draw a line or an area that belongs to no trace."""
        self.layout["shapes"].append(shape)

    def add_annotation(self, **annotation: Any) -> None:
        """Write a text into the figure."""
        self.layout["annotations"].append(annotation)

    def update_layout(self, **values: Any) -> None:
        """Set what belongs to the whole figure."""
        self.layout |= values

    def update_xaxes(self, **values: Any) -> None:
        """Set what belongs to the axis along the width."""
        self.layout["xaxis"] |= values

    def update_yaxes(self, **values: Any) -> None:
        """Set what belongs to the upright axis."""
        self.layout["yaxis"] |= values

    def plotly(self) -> go.Figure:
        """The same as a figure of the library, which checks every word and number of it."""
        layout = {name: value for name, value in self.layout.items() if name != "meta"}
        return go.Figure(self.data, layout)


def scatter(**values: Any) -> Trace:
    """Points, a line or words."""
    return {"type": "scatter", **values}


def bar(**values: Any) -> Trace:
    """Bars, upright or along the width."""
    return {"type": "bar", **values}
