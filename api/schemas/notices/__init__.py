"""Notices to customers: rules, consents, decisions, delivery."""
