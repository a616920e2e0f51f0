"""What the screws and the locks have shown."""

from __future__ import annotations

import math

from polewright.words.numbers import angle_text
from polewright.words.said import Said

LEAST_SAID_RAD = math.radians(1.0 / 3600.0)  # a pull of less than an arcsecond is none


def lock_words(aim_rad: tuple[float, float]) -> str:
    """What the locks usually do, on the sky, and where to stop therefore; `aim_rad` is (east, up)."""
    east, up = (value if abs(value) > LEAST_SAID_RAD else 0.0 for value in aim_rad)
    pulls, stops = [], []
    if up:
        pulls.append(f"{angle_text(abs(up))} {'up' if up < 0.0 else 'down'}")
        stops.append("below" if up < 0.0 else "above")
    if east:
        pulls.append(f"{angle_text(abs(east))} {'east' if east < 0.0 else 'west'}")
        stops.append("west" if east < 0.0 else "east")
    if not pulls:
        return ""
    return f"Your locks usually pull the axis {' and '.join(pulls)}: stop that much {' and '.join(stops)}."


def turned_sky_words(turn_rad: float) -> Said:
    """That both screws show the sky to be turned by so much."""
    degrees = abs(math.degrees(turn_rad))
    return Said(
        f"Both screws move the axis {degrees:.0f} degrees off the expected direction: the longitude is wrong by"
        f" about {degrees:.0f} degrees, or the clock by about {4.0 * degrees:.0f} min.",
        "Check the longitude (west is negative), the clock, its time zone and summer time; then measure the axis"
        " again.",
    )
