"""Watching the drift of the stars, in place of a turn or as the proof of one."""
