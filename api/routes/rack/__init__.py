"""Routes of the rack: wearers, pairs, soles, wear days, checks."""
