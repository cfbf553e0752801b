"""Accounts service: who may come in, as whom, and what may they do there?"""
