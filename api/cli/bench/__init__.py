"""Commands of the bench: orders, papers, quotes, stock, workload, shop settings."""
