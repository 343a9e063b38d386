"""Capture: the run page, and the small interface over which a page hands in its taps."""
