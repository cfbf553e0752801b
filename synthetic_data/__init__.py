"""Simulator: what would owners log in a world whose truth is known?

`simulate` draws a world from a `Truth`, and `world` a named one. `panel` draws a large simple one
for speed. `shop_world` draws a shop whose customers log little or nothing. `soil` spoils a folder
of interchange files on purpose. `python -m solespan.synthetic_data` rebuilds `examples/`. Written
apart from the forecasting library: it takes names and words from `forecast.frames` and nothing
else, so that a mistake cannot stand on both sides.
"""

from solespan.synthetic_data.dirt import soil
from solespan.synthetic_data.panel import panel
from solespan.synthetic_data.scenarios import SCENARIOS, world
from solespan.synthetic_data.shop import SHOP_WORLDS, ShopWorld, shop_world
from solespan.synthetic_data.simulate import Simulated, simulate
from solespan.synthetic_data.truth import Truth, varied

__all__ = [
    "SCENARIOS",
    "SHOP_WORLDS",
    "ShopWorld",
    "Simulated",
    "Truth",
    "panel",
    "shop_world",
    "simulate",
    "soil",
    "varied",
    "world",
]
