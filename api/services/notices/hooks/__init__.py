"""Hook services: who is told of events, and how do events reach them?"""
