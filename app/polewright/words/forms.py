"""What is wrong with a form, and what goes into it."""

from __future__ import annotations

LATITUDE = "The latitude lies between -90 and 90 degrees, as in 52.35 or 52° 21′ N."
LONGITUDE = "The longitude lies between -180 and 180 degrees, east positive, as in 3.05 or 3° 3′ E."
DECLINATION = "The declination lies between -90 and 90 degrees, as in 41.3 or 41° 18′."
SENSOR = "The sensor is width by height in pixels, as in 6000 × 4000."
FIRST_HOUR = "The first hour angle lies between -12 and 12 h; leave it empty to centre on the meridian."
NO_FOLDER = "This folder does not exist."
NOT_A_FOLDER = "This is not a folder."


def limits(name: str, low: float, high: float, unit: str) -> str:
    """`The pixel size lies between 0.5 and 100 µm.`"""
    return f"The {name} lies between {low:g} and {high:g} {unit}."


def not_listed(target: str) -> str:
    """A target that nobody knows."""
    return f"{target} is not in the list: give its declination, or choose from the list."


def folder_unreadable(problem: str) -> str:
    """A folder that the system does not let us look into."""
    return f"This folder cannot be read: {problem}."


def not_opened(name: str, problem: str) -> str:
    """The same, of one folder among others."""
    return f"{name} cannot be opened: {problem}. Choose another."


def no_night_here(nights: str) -> str:
    """An empty list of recorded nights: where they lie, and how to get there."""
    return f"No recorded night here. Yours lie in {nights}: type a folder above, or go up with Alt+Up."
