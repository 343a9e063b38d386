"""Recorded instrument files: read them, say what they give and lack, and find steady legs in them.

``truemile.recordings.read`` reads a file, ``truemile.recordings.legs`` finds the legs,
``truemile.recordings.one_tack`` compares log and ground where there is a single tack only.
"""
