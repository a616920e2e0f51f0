"""Turning the RA axis, for the capture and for the proof."""
