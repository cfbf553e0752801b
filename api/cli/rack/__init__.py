"""The rack: wearers, pairs, soles, wear days and checks."""
