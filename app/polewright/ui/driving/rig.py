"""The rig and site of a night in their profiles: found or made at its beginning, taught by its screws."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

from polewright.core.errors import RecordingError, SettingsError
from polewright.core.flexure_memory import NEW_FLEXURE, FlexureMemory, NightBend
from polewright.core.model import Site
from polewright.core.night.states import NightState
from polewright.core.plan.tonight import TonightsPlan, plan_from_dict
from polewright.core.screws.angles import Screw
from polewright.core.screws.learning import learn, sense_for_next_night
from polewright.core.screws.lock_memory import NEW_LOCKS, LockMemory
from polewright.core.screws.memory import ScrewMemory
from polewright.core.sky.weather import Weather
from polewright.services.measuring import Optics
from polewright.services.profile_store import ProfileStore, Stored
from polewright.services.profiles import RIGS, SITES, RigProfile, SiteProfile
from polewright.ui.driving.form import Known, clock_of, clock_text, number_text, optics_of, site_of, weather_of
from polewright.ui.driving.proposals import proposed_rig, proposed_site, same_optics, same_size
from polewright.ui.keys import KNOWN_RIGS
from polewright.words.clock import clock_words
from polewright.words.rigs import NEW_RIG, rig_words, shared_optics, site_words, turn_words

NO_WEATHER = Weather()
M = TypeVar("M", ScrewMemory, LockMemory, FlexureMemory)


@dataclass(frozen=True)
class RigAndSite:
    """What the profiles say; `stored` is None where they could not be read or written (`problem` says why)."""

    site_name: str
    rig_name: str
    azimuth: ScrewMemory
    altitude: ScrewMemory
    stored: Stored[RigProfile] | None
    problem: str = ""
    locks: LockMemory = NEW_LOCKS
    flexure: FlexureMemory = NEW_FLEXURE

    @property
    def clock_ahead_s(self) -> float:
        """By how much the times of its frames are ahead of UTC."""
        return 0.0 if self.stored is None else self.stored.profile.clock_ahead_s

    @property
    def plan(self) -> TonightsPlan | None:
        """What was last planned with this rig."""
        return None if self.stored is None else plan_from_dict(self.stored.profile.plan)


@dataclass(frozen=True)
class KnownProfiles:
    """The sites and rigs of earlier nights; `messages` about files that could not be used."""

    sites: tuple[SiteProfile, ...] = ()
    rigs: tuple[RigProfile, ...] = ()
    messages: tuple[str, ...] = ()


def known_profiles(config: Path) -> KnownProfiles:
    """Everything that is stored."""
    sites, rigs = ProfileStore(config, SITES).load_all(), ProfileStore(config, RIGS).load_all()
    return KnownProfiles(sites.bare(), rigs.bare(), (*sites.messages, *rigs.messages))


def from_site(known: Known, profile: SiteProfile) -> Known:
    """The form filled from a site; its air was that of another night."""
    site = profile.site
    return replace(
        known,
        latitude=number_text(site.lat_deg, 5),
        longitude=number_text(site.lon_deg, 5),
        elevation=number_text(site.elev_m, 0),
        site_name=profile.name,
        site_from=f"known site {profile.name}",
        typed=known.typed | {"latitude", "longitude", "elevation", "site_name"},
    )


def from_rig(known: Known, profile: RigProfile) -> Known:
    """The form filled from a rig."""
    focal, pixel = profile.focal_length_mm, profile.pixel_size_um
    return replace(
        known,
        focal_length="" if focal is None else number_text(focal, 1),
        pixel_size="" if pixel is None else number_text(pixel, 3),
        rig_name=profile.name,
        clock=clock_text(profile.clock_ahead_s),
        optics_from=f"known rig {profile.name}",
        typed=known.typed | {"focal_length", "pixel_size", "rig_name"},
    )


def with_names(known: Known, profiles: KnownProfiles) -> Known:
    """The form with proposed names where the person gave none."""
    site, optics = site_of(known), optics_of(known)
    if isinstance(site, Site) and "site_name" not in known.typed:
        known = replace(known, site_name=proposed_site(site, profiles.sites))
    if isinstance(optics, Optics) and "rig_name" not in known.typed:
        known = replace(known, rig_name=proposed_rig(optics, profiles.rigs))
    return known


def rig_note(known: Known, profiles: KnownProfiles) -> str:
    """What the rig that would be taken knows, and whether others look alike."""
    optics = optics_of(known)
    rig = next((rig for rig in profiles.rigs if rig.name == known.rig_name), None)
    alike = 0 if isinstance(optics, str) else len(same_optics(optics, profiles.rigs))
    told = NEW_RIG if rig is None else turn_words(*_turns(rig)) + _clock_note(rig, known)
    others = f"; {shared_optics(alike, KNOWN_RIGS)}" if alike > 1 else ""
    return told + others if known.rig_name else ""


def _clock_note(rig: RigProfile, known: Known) -> str:
    """The offset that is taken off its frames' times unless the form says another."""
    return f"; {clock_words(rig.clock_ahead_s)}" if rig.clock_ahead_s and not known.clock else ""


@dataclass(frozen=True)
class Chosen:
    """Site and rig of a night as the form has them. An empty name stands for the proposal; `clock_ahead_s` None for
    what the rig's profile says."""

    site: Site
    optics: Optics
    weather: Weather = NO_WEATHER
    site_name: str = ""
    rig_name: str = ""
    clock_ahead_s: float | None = None


def chosen(known: Known) -> Chosen | None:
    """What the form says; None while it is not whole."""
    site, optics, weather = site_of(known), optics_of(known), weather_of(known)
    if not isinstance(site, Site) or not isinstance(optics, Optics) or not isinstance(weather, Weather):
        return None
    clock = clock_of(known)
    return None if isinstance(clock, str) else Chosen(site, optics, weather, known.site_name, known.rig_name, clock)


def rig_and_site(config: Path, what: Chosen, used: str = "") -> RigAndSite:
    """Find both profiles by their names, or make them; a disk that refuses costs only the memory.

    `used`: when the night begins (ISO 8601), "" for one that goes on.
    """
    site_store, rig_store = ProfileStore(config, SITES), ProfileStore(config, RIGS)
    sites, rigs = site_store.load_all(), rig_store.load_all()
    site_name = what.site_name or proposed_site(what.site, sites.bare())
    rig_name = what.rig_name or proposed_rig(what.optics, rigs.bare())
    try:
        _keep_site(site_store, sites.named(site_name), replace(what, site_name=site_name), used)
        stored = _kept_rig(rig_store, rigs.named(rig_name), rig_name, what, used)
    except SettingsError as error:
        return RigAndSite(site_name, rig_name, ScrewMemory(), ScrewMemory(bends=True), None, str(error))
    screws = stored.profile.screws
    return RigAndSite(
        site_name,
        rig_name,
        _memory(screws.get("azimuth"), False),
        _memory(screws.get("altitude"), True),
        stored,
        locks=_locks(stored.profile.locks),
        flexure=_flexure(stored.profile.flexure),
    )


def keep_in_rig(config: Path, rig_name: str, optics: Optics, **changed: Any) -> None:
    """Write members of its profile anew; SettingsError when the disk refuses."""
    store = ProfileStore(config, RIGS)
    stored = store.load_all().named(rig_name)
    if stored is None:
        stored = store.add(RigProfile(rig_name, optics.focal_length_mm, optics.pixel_size_um))
    store.save(stored, replace(stored.profile, **changed))


def _keep_site(store: ProfileStore[SiteProfile], stored: Stored[SiteProfile] | None, what: Chosen, used: str) -> None:
    """Write what was stated this time into the site's profile; a new one where there is none."""
    weather = what.weather
    if stored is None:
        store.add(SiteProfile(what.site_name, what.site, "", weather.temperature_c, weather.pressure_hpa, used))
        return
    was = stored.profile
    if not used:  # a night that goes on states nothing anew
        weather = Weather(was.temperature_c, was.pressure_hpa)
    now = replace(
        was,
        site=what.site,
        temperature_c=weather.temperature_c,
        pressure_hpa=weather.pressure_hpa,
        used=used or was.used,
    )
    if now != was:
        store.save(stored, now)


def _kept_rig(
    store: ProfileStore[RigProfile], stored: Stored[RigProfile] | None, name: str, what: Chosen, used: str = ""
) -> Stored[RigProfile]:
    """The rig of that name, and of no other: two mounts may carry the same optics. A new one where there is none."""
    optics, clock = what.optics, what.clock_ahead_s
    if stored is None:
        new = RigProfile(name, optics.focal_length_mm, optics.pixel_size_um, used=used, clock_ahead_s=clock or 0.0)
        return store.add(new)
    was = stored.profile
    now = replace(
        was,
        focal_length_mm=_kept(was.focal_length_mm, optics.focal_length_mm),
        pixel_size_um=_kept(was.pixel_size_um, optics.pixel_size_um),
        clock_ahead_s=was.clock_ahead_s if clock is None else clock,
        used=used or was.used,
    )
    return stored if now == was else store.save(stored, now)


def _kept(was: float | None, stated: float | None) -> float | None:
    """What the profile holds, unless something else is stated."""
    return was if stated is None or same_size(was, stated) else stated


def knows(rig: RigProfile) -> str:
    """What a rig has learned, for the list of rigs."""
    return rig_words(*_turns(rig), len(_locks(rig.locks).nights), bool(rig.plan), rig.clock_ahead_s, rig.used)


def _turns(rig: RigProfile) -> tuple[float | None, float | None]:
    """What a turn of the azimuth and of the altitude screw is worth, arcmin; None where nobody knows."""
    azimuth, altitude = (learn(_memory(rig.screws.get(s.value), s is Screw.ALTITUDE)) for s in Screw)
    return (
        None if azimuth is None else abs(azimuth.arcmin_per_turn),
        None if altitude is None else abs(altitude.arcmin_per_turn),
    )


def site_knows(profile: SiteProfile) -> str:
    """What is known of a site, for the list of sites."""
    return site_words(profile.site, profile.temperature_c, profile.used)


def _memory(data: object, bends: bool) -> ScrewMemory:
    """What a screw has taught in earlier nights."""
    return replace(_read_or_new(ScrewMemory.from_dict, data, ScrewMemory()), moves=(), bends=bends)


def _locks(data: object) -> LockMemory:
    """The same for the locks."""
    return replace(_read_or_new(LockMemory.from_dict, data, NEW_LOCKS), tonight=())


def _flexure(data: object) -> FlexureMemory:
    """The same for the bending."""
    return _read_or_new(FlexureMemory.from_dict, data, NEW_FLEXURE)


def _read_or_new(read: Callable[[object], M], data: object, new: M) -> M:
    """A memory from the profile; one that is not there or cannot be read is begun anew."""
    try:
        return read(data) if data else new
    except RecordingError:
        return new


class RigOutlets:
    """Satisfies engine.Outlets: keeps with the rig what its screws and locks have taught.

    Used in the night's thread. `night`: the name of its folder, by which a night that is resumed counts once.
    """

    def __init__(self, config: Path, stored: Stored[RigProfile] | None, night: str = "") -> None:
        self._night = night
        self._store: ProfileStore[RigProfile] = ProfileStore(config, RIGS)
        self._stored = stored
        self._flexure_before = NEW_FLEXURE if stored is None else _flexure(stored.profile.flexure)

    def save_screw(self, screw: Screw, memory: ScrewMemory) -> None:
        """Write what is known of the screw by now; SettingsError when the disk refuses."""
        if self._stored is None:
            return
        kept = memory.for_next_night(learn(memory), sense_for_next_night(memory))
        self._save(screws={**self._stored.profile.screws, screw.value: kept.to_dict()})

    def save_locks(self, memory: LockMemory) -> None:
        """The same for what tightening the locks does."""
        if self._stored is not None:
            self._save(locks=memory.for_next_night().to_dict())

    def save_flexure(self, bend: NightBend) -> None:
        """The same for how it bends; a night counts once, by what it told last."""
        if self._stored is not None:
            self._save(flexure=self._flexure_before.with_night(replace(bend, night=self._night)).to_dict())

    def _save(self, **changed: Any) -> None:
        """SettingsError when it cannot be; the next save begins from what is stored then, or it would fail too."""
        assert self._stored is not None
        try:
            self._stored = self._store.save(self._stored, replace(self._stored.profile, **changed))
        except SettingsError:
            with contextlib.suppress(SettingsError):
                self._stored = self._store.load(self._stored.path)
            raise

    def keep_night(self, state: NightState) -> None:
        """The record holds it already."""
