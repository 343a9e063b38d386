"""Truemile: measure each instrument, correct every reading, say how sure the answer is."""

__version__ = "0.1.0"
