"""The two adjusting screws: coordinates, memory, learning, and how far to turn next."""
