"""HTTP schemas of schemas: what shapes do the service's messages have, going in and coming out?"""
