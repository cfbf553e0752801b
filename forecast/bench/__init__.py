"""What does the bench need to know: minutes, places in the queue, stock, quotes, tolerances?

Pure: `standards` (defaults), `minutes` (the shop's own times), `hours` (when the bench is open),
`queue` (the bench simulated), `lead_times` (what that promises), `stock` (what to order when),
`quoting` (what a pair needs and what that buys), `shoe_record` (how it was before stripping).
"""
