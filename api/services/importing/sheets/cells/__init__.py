"""Cells of sheets: readers of words, days and quantities say what a cell means."""
