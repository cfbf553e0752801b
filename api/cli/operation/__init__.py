"""Commands of the operator: backups, and what is wrong."""
