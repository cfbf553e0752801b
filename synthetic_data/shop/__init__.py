"""What do a shop's books say of customers who log nothing, and what is true of their pairs?

`draw_shop_world` draws one shop, `shop_world` a named one. A shop knows a pair from the day it sold
it, or from the first hand-over; pace, wear, hand-overs and leaving happen without being seen.
"""

from solespan.synthetic_data.shop.customers import CustomerTruth
from solespan.synthetic_data.shop.draw import ShopWorld, draw_shop_world
from solespan.synthetic_data.shop.worlds import SHOP_WORLDS, shop_world

__all__ = ["SHOP_WORLDS", "CustomerTruth", "ShopWorld", "draw_shop_world", "shop_world"]
