"""What is known of a rig or a site, for the lists of the first page."""

from __future__ import annotations

from polewright.core.model import Site
from polewright.words.clock import clock_words
from polewright.words.numbers import counted, number_text

UNKNOWN_SCALE = "unknown camera"
NEW_RIG = "a new rig: nothing known yet"


def rig_words(
    azimuth_arcmin: float | None,
    altitude_arcmin: float | None,
    lock_nights: int,
    plan: bool,
    clock_ahead_s: float,
    used: str,
) -> str:
    """`azimuth 31′, altitude 12′ a turn; locks from 3 nights; clock 1 h ahead; last used 2026-11-17`."""
    parts = [
        turn_words(azimuth_arcmin, altitude_arcmin),
        f"locks from {counted(lock_nights, 'night')}" if lock_nights else "",
        "a plan" if plan else "",
        clock_words(clock_ahead_s) if clock_ahead_s else "",
        f"last used {used[:10]}" if used else "",
    ]
    return "; ".join(part for part in parts if part)


def turn_words(azimuth_arcmin: float | None, altitude_arcmin: float | None) -> str:
    """`azimuth 31′, altitude 12′ a turn`."""
    rates = ((azimuth_arcmin, "azimuth"), (altitude_arcmin, "altitude"))
    turns = ", ".join(f"{name} {number_text(value)}′" for value, name in rates if value is not None)
    return f"{turns} a turn" if turns else "its screws are not known yet"


def place_text(site: Site | None) -> str:
    """`52.30° N, 3.00° E`; nothing where nobody knows."""
    if site is None:
        return ""
    north, east = ("N" if site.lat_deg >= 0.0 else "S"), ("E" if site.lon_deg >= 0.0 else "W")
    return f"{abs(site.lat_deg):.2f}° {north}, {abs(site.lon_deg):.2f}° {east}"


def site_words(site: Site, temperature_c: float | None, used: str) -> str:
    """`52.30° N, 3.00° E; 4 °C; last used 2026-11-17`."""
    air = "" if temperature_c is None else f"{number_text(temperature_c)} °C"
    last = f"last used {used[:10]}" if used else ""
    return "; ".join(part for part in (place_text(site), air, last) if part)


def shared_optics(count: int, key: str) -> str:
    """Several rigs look alike: how to choose another than the one that is proposed."""
    return f"{count} rigs look alike: {key}"
