"""Use: how often pairs are worn: wear counts, the model of use, the calendar ahead."""
