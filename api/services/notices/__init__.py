"""Notices service: how do a shop's notices come about, go out, and get answered?"""
