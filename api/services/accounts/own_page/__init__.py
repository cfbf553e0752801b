"""Own page: what does a customer see, say and take along of their own pairs, and nobody else's?"""
