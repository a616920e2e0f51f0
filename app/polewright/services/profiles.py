"""Rigs and sites: what they hold, and how that is written as JSON."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from polewright.core.errors import SettingsError
from polewright.core.model import Site, TargetPole
from polewright.core.night.events import LARGEST_CLOCK_S
from polewright.core.sky.weather import PRESSURE_HPA, TEMPERATURE_C

P = TypeVar("P", "RigProfile", "SiteProfile")
TARGET_NAMES = {"true": TargetPole.TRUE, "between": TargetPole.BETWEEN, "refracted": TargetPole.REFRACTED}


@dataclass(frozen=True)
class RigProfile:
    """A camera on a mount. `screws` is the screw memory, opaque here (core/screws/memory.py owns its meaning).

    `locks` is what tightening the base locks does, opaque as well (core/screws/lock_memory.py).

    `flexure` is what the nights told of its bending, opaque too (core/flexure_memory.py).

    `plan` is what was last planned with it, opaque as well (core/plan/tonight.py); empty when nothing ever was.

    `clock_ahead_s`: by how much the times of its frames are ahead of UTC, as the person set it.

    `used`: when a night last began with it (ISO 8601, UTC), "" unknown. Two rigs may have the same optics: only the
    name tells them apart.

    `target` None: the program chooses by latitude. `extra` holds what a later version of the program added.
    """

    name: str
    focal_length_mm: float | None = None
    pixel_size_um: float | None = None
    target: TargetPole | None = None
    notes: str = ""
    screws: Mapping[str, Any] = field(default_factory=dict)
    plan: Mapping[str, Any] = field(default_factory=dict)
    locks: Mapping[str, Any] = field(default_factory=dict)
    flexure: Mapping[str, Any] = field(default_factory=dict)
    clock_ahead_s: float = 0.0
    used: str = ""
    extra: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class SiteProfile:
    """A place where the mount stands. `temperature_c`, `pressure_hpa`: its air when it was last used, as stated then.

    They are there to be read and never taken for another night's; None: nobody said. The pressure is that at the
    site's height, not reduced to sea level. `used` as in RigProfile.
    """

    name: str
    site: Site
    notes: str = ""
    temperature_c: float | None = None
    pressure_hpa: float | None = None
    used: str = ""
    extra: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class ProfileKind(Generic[P]):
    """How one kind of profile is stored: folder, format name, version, and the way from and to JSON members.

    `migrations[n]` turns the members of version n into those of version n + 1.
    """

    folder: str
    format: str
    version: int
    to_members: Callable[[P], dict[str, Any]]
    from_members: Callable[[dict[str, Any]], P]
    migrations: Mapping[int, Callable[[dict[str, Any]], dict[str, Any]]] = field(default_factory=dict)


class Members:
    """Checked access to the members of a JSON object; what is not asked for is left over for `extra`."""

    def __init__(self, members: dict[str, Any]) -> None:
        self._left = dict(members)

    def text(self, name: str, default: str | None = None) -> str:
        value = self._left.pop(name, default)
        if not isinstance(value, str) or (default is None and not value.strip()):
            raise SettingsError(f'"{name}" must be a text')
        return value

    def number(self, name: str, low: float, high: float) -> float:
        value = self._left.pop(name, None)
        if isinstance(value, bool) or not isinstance(value, (int, float)) or math.isnan(_bounded(value)):
            raise SettingsError(f'"{name}" must be a number')
        if not low <= value <= high:
            raise SettingsError(f'"{name}" must lie between {low:g} and {high:g}, not {_bounded(value):g}')
        return float(value)

    def optional_number(self, name: str, low: float, high: float) -> float | None:
        if self._left.get(name) is None:
            self._left.pop(name, None)
            return None
        return self.number(name, low, high)

    def mapping(self, name: str) -> dict[str, Any]:
        value = self._left.pop(name, {})
        if not isinstance(value, dict):
            raise SettingsError(f'"{name}" must be an object')
        return value

    def rest(self) -> dict[str, Any]:
        return self._left


def _bounded(value: float) -> float:
    """`value` as a float; a whole number too large for one as infinity."""
    try:
        return float(value)
    except OverflowError:
        return math.inf if value > 0 else -math.inf


def _rig_members(rig: RigProfile) -> dict[str, Any]:
    target = next((name for name, pole in TARGET_NAMES.items() if pole is rig.target), None)
    return {
        "name": rig.name,
        "focal_length_mm": rig.focal_length_mm,
        "pixel_size_um": rig.pixel_size_um,
        "target": target,
        "notes": rig.notes,
        "screws": dict(rig.screws),
        "plan": dict(rig.plan),
        "locks": dict(rig.locks),
        "flexure": dict(rig.flexure),
        "clock_ahead_s": rig.clock_ahead_s,
        "used": rig.used,
        **rig.extra,
    }


def _rig(members: dict[str, Any]) -> RigProfile:
    given = Members(members)
    target = given.text("target", "") if members.get("target") is not None else ""
    if target and target not in TARGET_NAMES:
        raise SettingsError(f'"target" must be one of {", ".join(TARGET_NAMES)}, not {target!r}')
    return RigProfile(
        name=given.text("name"),
        focal_length_mm=given.optional_number("focal_length_mm", 2.0, 50_000.0),
        pixel_size_um=given.optional_number("pixel_size_um", 0.5, 100.0),
        target=TARGET_NAMES.get(target),
        notes=given.text("notes", ""),
        screws=given.mapping("screws"),
        plan=given.mapping("plan"),
        locks=given.mapping("locks"),
        flexure=given.mapping("flexure"),
        clock_ahead_s=given.optional_number("clock_ahead_s", -LARGEST_CLOCK_S, LARGEST_CLOCK_S) or 0.0,
        used=given.text("used", ""),
        extra={name: value for name, value in given.rest().items() if name != "target"},
    )


def _site_members(profile: SiteProfile) -> dict[str, Any]:
    site = profile.site
    return {
        "name": profile.name,
        "lat_deg": site.lat_deg,
        "lon_deg": site.lon_deg,
        "elev_m": site.elev_m,
        "notes": profile.notes,
        "temperature_c": profile.temperature_c,
        "pressure_hpa": profile.pressure_hpa,
        "used": profile.used,
        **profile.extra,
    }


def _site(members: dict[str, Any]) -> SiteProfile:
    given = Members(members)
    return SiteProfile(
        name=given.text("name"),
        site=Site(
            given.number("lat_deg", -90.0, 90.0),
            given.number("lon_deg", -360.0, 360.0),
            given.optional_number("elev_m", -500.0, 9000.0) or 0.0,
        ),
        notes=given.text("notes", ""),
        temperature_c=given.optional_number("temperature_c", *TEMPERATURE_C),
        pressure_hpa=given.optional_number("pressure_hpa", *PRESSURE_HPA),
        used=given.text("used", ""),
        extra=given.rest(),
    )


def _with_plan(members: dict[str, Any]) -> dict[str, Any]:
    """Version 1 knew no plan. A member of that name was somebody else's, and is none of ours."""
    return {**members, "plan": {}}


def _with_locks(members: dict[str, Any]) -> dict[str, Any]:
    """Version 2 did not remember the locks."""
    return {**members, "locks": {}}


def _with_flexure(members: dict[str, Any]) -> dict[str, Any]:
    """Version 3 did not remember how the rig bends."""
    return {**members, "flexure": {}}


def _with_use(members: dict[str, Any]) -> dict[str, Any]:
    """Version 4 did not note when it was last used."""
    return {**members, "used": ""}


def _with_clock(members: dict[str, Any]) -> dict[str, Any]:
    """Version 5 took every frame at its word."""
    return {**members, "clock_ahead_s": 0.0}


def _with_weather(members: dict[str, Any]) -> dict[str, Any]:
    """Version 1 of a site knew neither its air nor when it was last used."""
    return {**members, "temperature_c": None, "pressure_hpa": None, "used": ""}


RIGS: ProfileKind[RigProfile] = ProfileKind(
    "rigs",
    "polewright-rig",
    6,
    _rig_members,
    _rig,
    {1: _with_plan, 2: _with_locks, 3: _with_flexure, 4: _with_use, 5: _with_clock},
)
SITES: ProfileKind[SiteProfile] = ProfileKind("sites", "polewright-site", 2, _site_members, _site, {1: _with_weather})
