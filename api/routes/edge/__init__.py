"""Middleware: what is checked and added on every request before any route sees it?"""
