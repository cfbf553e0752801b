"""Booking services: which days are free, who is told of a booking, and what may its customer do?"""
