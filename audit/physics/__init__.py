"""Formulas of drives, threshing and harvest loss: pure functions of floats, each with its source."""
