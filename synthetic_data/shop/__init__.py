"""Silent shops: what do a shop's books say of customers who log nothing, and what is true?

`draw_shop_world` draws one shop, `shop_world` a named one. A shop knows a pair from the day it sold
it, or from the first hand-over. Nobody sees pace, wear, hand-overs elsewhere and leaving.
"""

from solespan.synthetic_data.shop.customers import CustomerTruth
from solespan.synthetic_data.shop.draw import ShopWorld, draw_shop_world
from solespan.synthetic_data.shop.worlds import SHOP_WORLDS, shop_world

__all__ = ["SHOP_WORLDS", "CustomerTruth", "ShopWorld", "draw_shop_world", "shop_world"]
