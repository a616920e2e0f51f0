"""The last word of the night."""
