"""Observation models: what do readings, thumb grades, removals and silence say of thickness?"""
