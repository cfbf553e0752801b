"""Notices: who is written to about which pair, in which words, and by which way?

Pure but for `channels`: frames, rules and instants in; decisions, texts and messages out.
"""
