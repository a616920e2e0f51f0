"""The first page's form: raw text in, checked values or a plain sentence out. Pure."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, fields, replace
from typing import Any

from polewright.core.model import Site
from polewright.core.night.events import LARGEST_CLOCK_S
from polewright.core.sky.places import standard_atmosphere
from polewright.core.sky.weather import PRESSURE_HPA, TEMPERATURE_C, Weather
from polewright.services.frame_reader.header_optics import ARCSEC_MM_PER_UM
from polewright.services.measuring import Optics
from polewright.ui.intents import FillForm
from polewright.ui.view_model import SiteForm
from polewright.words import forms

FIELDS = tuple(field.name for field in fields(FillForm))
SIDES = {"N": 1.0, "E": 1.0, "S": -1.0, "W": -1.0}
PARTS = re.compile(r"[°′″'\":\s]+")
LOWEST_M, HIGHEST_M = -500.0, 9000.0
AIR = ("temperature", "pressure")  # of tonight alone: last season's is worse than the usual one
PRESSURE_SHARE = 0.05  # weather moves the air pressure of a place by 5 % at most (common practice, no source)


@dataclass(frozen=True)
class Known(FillForm):
    """What the form holds, and where each group of it comes from; `typed` names the fields the person filled in."""

    site_from: str = ""
    optics_from: str = ""
    typed: frozenset[str] = frozenset()

    def filled(self, form: FillForm) -> Known:
        """With what the person typed; what they changed stays theirs."""
        changed = {name: getattr(form, name) for name in FIELDS if getattr(form, name) != getattr(self, name)}
        cleared = {name for name, text in changed.items() if not text}  # nobody's any more: the header may fill it
        site = changed.keys() & {"latitude", "longitude", "elevation", "temperature", "pressure"}
        optics = changed.keys() & {"focal_length", "pixel_size"}
        return replace(
            self,
            **changed,
            typed=(self.typed | changed.keys()) - cleared,
            site_from="as you typed it" if site else self.site_from,
            optics_from="as you typed it" if optics else self.optics_from,
        )


def angle_of(text: str, sides: str, limit_deg: float) -> float | None:
    """Degrees of "52.35", "-33,9", "52° 20′ 30″", "33 54 S"; None when it is none, or beyond the limit."""
    left = text.strip().upper().replace(",", ".").replace("−", "-")
    sign = 1.0
    if left and left[-1] in sides:
        sign, left = SIDES[left[-1]], left[:-1].strip()
    parts = [p for p in PARTS.split(left) if p]
    if not parts or len(parts) > 3 or any(p.startswith("-") for p in parts[1:]):
        return None
    try:
        numbers = [float(p) for p in parts]
    except ValueError:
        return None
    if any(not 0.0 <= n < 60.0 for n in numbers[1:]) or not math.isfinite(numbers[0]):
        return None
    if parts[0].startswith("-"):
        sign = -sign
    value = sign * sum(abs(n) / 60.0**i for i, n in enumerate(numbers))
    return value if abs(value) <= limit_deg else None


def number_of(text: str, low: float, high: float) -> float | None:
    """The number in the text within its limits; None when it is none."""
    try:
        value = float(text.strip().replace(",", ".").replace("−", "-"))
    except ValueError:
        return None
    return value if low <= value <= high else None


def site_of(known: Known) -> Site | str:
    """The site, or what is wrong with it; "" while it is simply not filled in."""
    if not known.latitude or not known.longitude:
        return ""
    lat = angle_of(known.latitude, "NS", 90.0)
    if lat is None:
        return forms.LATITUDE
    lon = angle_of(known.longitude, "EW", 360.0)
    if lon is None:
        return forms.LONGITUDE
    elevation = number_of(known.elevation or "0", LOWEST_M, HIGHEST_M)
    if elevation is None:
        return forms.limits("height", LOWEST_M, HIGHEST_M, "metres")
    return Site(lat, (lon + 180.0) % 360.0 - 180.0, elevation)


def optics_of(known: Known) -> Optics | str:
    """The optics as stated (both may be missing), or what is wrong with them."""
    focal = number_of(known.focal_length, 2.0, 50_000.0) if known.focal_length else None
    pixel = number_of(known.pixel_size, 0.5, 100.0) if known.pixel_size else None
    if known.focal_length and focal is None:
        return forms.limits("focal length", 2.0, 50_000.0, "mm")
    if known.pixel_size and pixel is None:
        return forms.limits("pixel size", 0.5, 100.0, "µm")
    return Optics(focal, pixel)


def without_site(known: Known) -> Known:
    """The form with its site left to the frames, and the air over it."""
    site = frozenset({"latitude", "longitude", "elevation", "site_name"})
    left = replace(known, latitude="", longitude="", elevation="", site_name="", typed=known.typed - site.union(AIR))
    return without_air(left)


def without_air(known: Known) -> Known:
    """The form without the air that nobody typed: it was another frame's."""
    left: dict[str, Any] = {name: "" for name in AIR if name not in known.typed}
    return replace(known, **left)


def clock_of(known: Known) -> float | str | None:
    """By how much the frames' clock is ahead, s; None where nobody says, or what is wrong with it.

    "90", "-3600", "1:00:00", "-0:15": seconds, or hours, minutes and seconds.
    """
    if not known.clock:
        return None
    text = known.clock.replace("−", "-").replace(",", ".")
    sign, parts = (-1.0 if text.startswith("-") else 1.0), text.lstrip("+-").split(":")
    try:
        numbers = [float(part) for part in parts]
    except ValueError:
        return forms.CLOCK
    seconds = sum(abs(n) * 60.0 ** (2 - i) for i, n in enumerate(numbers)) if len(parts) > 1 else numbers[0]
    fits = len(parts) <= 3 and all(0.0 <= n < 60.0 for n in numbers[1:]) and 0.0 <= seconds <= LARGEST_CLOCK_S
    return sign * seconds if fits else forms.CLOCK


def clock_text(ahead_s: float) -> str:
    """The same the other way round: what stands in the field."""
    return number_text(ahead_s, 0) if ahead_s else ""


def scale_of(known: Known) -> float | None:
    """Arcsec per pixel by the optics of the form; None where they do not say."""
    optics = optics_of(known)
    if isinstance(optics, str) or optics.focal_length_mm is None or optics.pixel_size_um is None:
        return None
    return ARCSEC_MM_PER_UM * optics.pixel_size_um / optics.focal_length_mm


def weather_of(known: Known) -> Weather | str:
    """The air as stated (both may be missing), or what is wrong with it."""
    temperature = number_of(known.temperature, *TEMPERATURE_C) if known.temperature else None
    pressure = number_of(known.pressure, *PRESSURE_HPA) if known.pressure else None
    if known.temperature and temperature is None:
        return forms.limits("temperature", *TEMPERATURE_C, "°C")
    if known.pressure and pressure is None:
        return forms.limits("air pressure", *PRESSURE_HPA, "hPa")
    site = site_of(known)
    if pressure is not None and isinstance(site, Site):
        usual = standard_atmosphere(site).pressure_hpa
        if abs(pressure / usual - 1.0) > PRESSURE_SHARE:
            return forms.pressure_elsewhere(usual, site.elev_m)
    return Weather(temperature, pressure)


def form_view(known: Known, folder_problem: str) -> SiteForm:
    """The form as the window shows it."""
    site, optics, weather = site_of(known), optics_of(known), weather_of(known)
    site_problem = site if isinstance(site, str) else ""
    air_problem = weather if isinstance(weather, str) else ""
    optics_problem = optics if isinstance(optics, str) else ""
    clock = clock_of(known)
    optics_problem = optics_problem or (clock if isinstance(clock, str) else "")
    unknown = not known.focal_length and not known.pixel_size
    return SiteForm(
        **{name: getattr(known, name) for name in FIELDS},
        site_from=known.site_from or "degrees; south and west are negative",
        optics_from=known.optics_from or ("may be left empty: the stars give the scale" if unknown else ""),
        site_problem=site_problem,
        air_problem=air_problem,
        optics_problem=optics_problem,
        folder_problem=folder_problem,
        lacking=_lacking(known, site_problem or air_problem or optics_problem or folder_problem),
    )


def _lacking(known: Known, problem: str) -> str:
    """Why the night cannot begin yet, "" when it can: the first thing that is missing, or wrong."""
    for name in forms.NEEDED:
        if not getattr(known, name):
            return forms.missing(name, bool(known.folder))
    return problem


def number_text(value: float, digits: int) -> str:
    """A number for a field, without superfluous zeros."""
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text
