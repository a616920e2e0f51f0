"""What is wrong with a form, and what goes into it."""

from __future__ import annotations

LATITUDE = "The latitude lies between -90 and 90 degrees, as in 52.35 or 52° 21′ N."
LONGITUDE = "The longitude lies between -180 and 180 degrees, east positive, as in 3.05 or 3° 3′ E."
DECLINATION = "The declination lies between -90 and 90 degrees, as in 41.3 or 41° 18′."
SENSOR = "The sensor is width by height in pixels, as in 6000 × 4000."
FIRST_HOUR = "The first hour angle lies between -12 and 12 h; leave it empty to centre on the meridian."
CLOCK = "The clock is ahead by seconds, or by hours:minutes:seconds; behind, with a minus: -1:00:00."
NEEDED = ("latitude", "longitude", "folder")  # fields, in their order on the page


def missing(name: str, watched: bool) -> str:
    """Of a needed field; `watched`: a folder is chosen, whose frames may still tell."""
    if name == "folder":
        return "The folder the camera writes to is missing: choose it."
    told = "unless the next frame states it" if watched else "or choose a folder whose frames state it"
    return f"The {name} is missing: type it, {told}."


def limits(name: str, low: float, high: float, unit: str) -> str:
    """`The pixel size lies between 0.5 and 100 µm.`"""
    return f"The {name} lies between {low:g} and {high:g} {unit}."


def pressure_elsewhere(usual_hpa: float, height_m: float) -> str:
    """A pressure that no weather makes at this height: most likely one reduced to sea level."""
    return f"At {height_m:.0f} m the air pressure is about {usual_hpa:.0f} hPa: not the value reduced to sea level."


def not_listed(target: str) -> str:
    """A target that nobody knows."""
    return f"{target} is not in the list: give its declination, or choose from the list."


def no_folder(name: str) -> str:
    """A folder that is not there."""
    return f"There is no folder {name}: choose another, or let the camera program create it."


def not_a_folder(name: str) -> str:
    """Something else of that name."""
    return f"{name} is not a folder: choose the one that it is in."


def folder_unreadable(name: str, problem: str) -> str:
    """A folder that the system does not let us look into."""
    return f"The folder {name} cannot be read: {problem[:1].lower()}{problem[1:]}."


def not_opened(name: str, problem: str) -> str:
    """The same, of one folder among others."""
    return f"The folder {name} cannot be opened: {problem[:1].lower()}{problem[1:]}. Choose another."


def no_night_here(nights: str) -> str:
    """An empty list of recorded nights: where they lie, and how to get there."""
    return f"No recorded night here. Yours are in {nights}: type a folder above, or go up with Alt+Up."


def frames_in(name: str, count: int) -> str:
    """How many frames lie in the folder that would be taken."""
    if count == 0:
        return f"no frames in {name} yet"
    return f"1 frame in {name}" if count == 1 else f"{count} frames in {name}"


def this_folder(name: str) -> str:
    """The line of the list that stands for the folder itself."""
    return f"{name} itself"


def take_it(name: str) -> str:
    """The button that takes the highlighted folder."""
    return f"Use {name}"
