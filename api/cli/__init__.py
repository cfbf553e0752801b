"""Command line: which commands does a person type, and how are mistakes told?"""
