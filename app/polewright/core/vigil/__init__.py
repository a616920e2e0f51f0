"""Watching the imaging run for a mount that moves."""
