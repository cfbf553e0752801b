"""Accounts: tenants, members, tokens, sessions, customers' records."""
