"""What is said about rehearsals on a simulated mount."""

from __future__ import annotations

REHEARSALS = "Rehearse on a simulated mount"
WHAT_A_SEED_IS = "The seed draws the mount, where it stands and what goes wrong: the same seed, the same night again."


def night_title(name: str, place: str) -> str:
    """`Passing clouds, at Thornfell`."""
    words = name.replace("-", " ")
    return f"{words[:1].upper()}{words[1:]}, at {place}"


def seed_text(seed: int) -> str:
    """`Seed 7`."""
    return f"Seed {seed}"


def next_night(name: str) -> str:
    """The invitation after a score."""
    return f"Next: {name.replace('-', ' ')}"
