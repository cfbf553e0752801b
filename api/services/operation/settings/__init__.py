"""Settings of a shop: their register, and how pages, commands and programs read and change them."""
