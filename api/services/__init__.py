"""Services service.

What can be asked of the program, subject by subject, within the caller's transaction?
"""
