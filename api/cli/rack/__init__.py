"""Commands of the rack: wearers, pairs, soles, wear days and checks."""
