"""Thickness to dates: first passage, draws of the due day, columns, reasons."""
