"""Uncertainty of a reading and the decision rule. Pure: no bench, no disk."""
