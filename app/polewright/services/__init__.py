"""One port each to the outside world: files, clock, libraries. Plain Python, no Qt."""
