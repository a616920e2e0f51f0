"""Hands on the two screws and on the locks."""
