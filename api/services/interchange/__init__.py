"""Interchange tables: cells read, and rows judged beside what is stored."""
