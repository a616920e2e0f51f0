"""Where the mount axis points: from a capture, and frame by frame afterwards."""
