"""The bench: orders, papers, quotes, stock, workload, shop settings."""
