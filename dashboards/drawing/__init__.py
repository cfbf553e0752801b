"""Server drawings: how does a chart become SVG and a table, without a script?"""

from solespan.dashboards.drawing.svg import WIDTHS_PX, drawing
from solespan.dashboards.drawing.table import csv_text, drawn_rows

__all__ = ["WIDTHS_PX", "csv_text", "drawing", "drawn_rows"]
