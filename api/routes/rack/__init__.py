"""The rack: wearers, pairs, soles, wear days, checks."""
