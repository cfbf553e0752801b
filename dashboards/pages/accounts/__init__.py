"""Pages of accounts: tenants, members, tokens, sessions, customers' records."""
