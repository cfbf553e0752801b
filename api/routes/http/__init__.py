"""Parts of HTTP that all routes share: requests, pages, problems, query filters."""
