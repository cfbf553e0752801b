"""What can be asked of the program: one module per subject, each within the caller's transaction?"""
