"""Proof by drift: the axis from the wandering of the stars while the drive runs."""
