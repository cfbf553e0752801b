"""Storage of accounts: tenants, members, tokens, sessions, customers' records."""
