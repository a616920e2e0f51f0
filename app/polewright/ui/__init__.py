"""The window. Widgets and drawing; no arithmetic beyond pixels."""
