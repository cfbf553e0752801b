"""Edge: what is checked, added and counted on every request, before any route sees it?"""
