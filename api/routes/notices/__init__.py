"""Routes of notices to customers: rules, consents, decisions, delivery."""
