"""Importing and exporting files of logs."""
