"""Schemas of planning: plans, what-if, resole options, care, cost of ownership, calendar."""
