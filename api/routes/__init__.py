"""Routes.

Which addresses does the service answer, and which service function stands behind each?
"""
