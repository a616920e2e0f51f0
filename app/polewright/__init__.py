"""Polewright: aligns an equatorial mount's RA axis with the celestial pole from camera frames."""

__version__ = "0.1.0"
