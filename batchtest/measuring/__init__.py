"""Measuring: one trustworthy reading, settled and with its uncertainty, or none; abort bounds on every raw value."""

from batchtest.measuring.reader import Reader

__all__ = ["Reader"]
