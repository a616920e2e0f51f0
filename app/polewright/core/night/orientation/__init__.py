"""Standing the mount up."""
