"""Planning a rack from what is stored: plans, routes, care, cost and the calendar."""
