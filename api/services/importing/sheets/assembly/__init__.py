"""Assembly of sheets: rows of lists become rows of the interchange tables."""
