"""Operation: what keeps the service itself in order."""
