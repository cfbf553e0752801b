"""Layout of sheets: blocks, calendars and columns become lists whose columns have a meaning."""
