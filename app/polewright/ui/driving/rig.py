"""The rig and site of a night in their profiles: found or made at its beginning, taught by its screws."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from polewright.core.errors import RecordingError, SettingsError
from polewright.core.flexure_memory import NEW_FLEXURE, FlexureMemory, NightBend
from polewright.core.model import Site
from polewright.core.night.states import NightState
from polewright.core.plan.tonight import TonightsPlan, plan_from_dict, plan_to_dict
from polewright.core.screws.angles import Screw
from polewright.core.screws.learning import learn
from polewright.core.screws.lock_memory import NEW_LOCKS, LockMemory
from polewright.core.screws.memory import ScrewMemory
from polewright.services.measuring import Optics
from polewright.services.profile_store import ProfileStore, Stored
from polewright.services.profiles import RIGS, SITES, RigProfile, SiteProfile
from polewright.ui.driving.form import Known, number_text

SAME_PLACE_DEG = 0.02
SAME_SHARE = 0.02


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
    return KnownProfiles(
        tuple(stored.profile for stored in sites.profiles),
        tuple(stored.profile for stored in rigs.profiles),
        (*sites.messages, *rigs.messages),
    )


def from_site(known: Known, profile: SiteProfile) -> Known:
    """The form filled from a site."""
    site = profile.site
    return replace(
        known,
        latitude=number_text(site.lat_deg, 5),
        longitude=number_text(site.lon_deg, 5),
        elevation=number_text(site.elev_m, 0),
        site_from=f"known site {profile.name}",
        typed=known.typed | {"latitude", "longitude", "elevation"},
    )


def from_rig(known: Known, profile: RigProfile) -> Known:
    """The form filled from a rig."""
    focal, pixel = profile.focal_length_mm, profile.pixel_size_um
    return replace(
        known,
        focal_length="" if focal is None else number_text(focal, 1),
        pixel_size="" if pixel is None else number_text(pixel, 3),
        optics_from=f"known rig {profile.name}",
        typed=known.typed | {"focal_length", "pixel_size"},
    )


def rig_and_site(config: Path, site: Site, optics: Optics) -> RigAndSite:
    """Find both profiles, or make them; a disk that refuses costs only the memory."""
    site_name, rig_name = _place_name(site), _rig_name(optics)
    try:
        site_name = _site_profile(config, site).name
        stored = _rig_profile(config, optics)
    except SettingsError as error:
        return RigAndSite(site_name, rig_name, ScrewMemory(), ScrewMemory(bends=True), None, str(error))
    screws = stored.profile.screws
    return RigAndSite(
        site_name,
        stored.profile.name,
        _memory(screws.get("azimuth"), False),
        _memory(screws.get("altitude"), True),
        stored,
        locks=_locks(stored.profile.locks),
        flexure=_flexure(stored.profile.flexure),
    )


def keep_plan(config: Path, optics: Optics, plan: TonightsPlan) -> None:
    """Write the plan into the rig's profile; SettingsError when the disk refuses."""
    stored = _rig_profile(config, optics)
    store: ProfileStore[RigProfile] = ProfileStore(config, RIGS)
    store.save(stored, replace(stored.profile, plan=plan_to_dict(plan)))


def _site_profile(config: Path, site: Site) -> SiteProfile:
    store: ProfileStore[SiteProfile] = ProfileStore(config, SITES)
    for stored in store.load_all().profiles:
        there = stored.profile.site
        if abs(there.lat_deg - site.lat_deg) < SAME_PLACE_DEG and abs(there.lon_deg - site.lon_deg) < SAME_PLACE_DEG:
            return stored.profile
    return store.add(SiteProfile(_place_name(site), site)).profile


def _rig_profile(config: Path, optics: Optics) -> Stored[RigProfile]:
    store: ProfileStore[RigProfile] = ProfileStore(config, RIGS)
    for stored in store.load_all().profiles:
        rig = stored.profile
        if _same(rig.focal_length_mm, optics.focal_length_mm) and _same(rig.pixel_size_um, optics.pixel_size_um):
            return stored
    return store.add(RigProfile(_rig_name(optics), optics.focal_length_mm, optics.pixel_size_um))


def _same(a: float | None, b: float | None) -> bool:
    return a == b if a is None or b is None else abs(a - b) <= SAME_SHARE * b


def _place_name(site: Site) -> str:
    north, east = "S" if site.lat_deg < 0.0 else "N", "W" if site.lon_deg < 0.0 else "E"
    return f"{abs(site.lat_deg):.2f}° {north}, {abs(site.lon_deg):.2f}° {east}"


def _rig_name(optics: Optics) -> str:
    focal = "" if optics.focal_length_mm is None else f"{number_text(optics.focal_length_mm, 0)} mm"
    pixel = "" if optics.pixel_size_um is None else f"{number_text(optics.pixel_size_um, 2)} µm pixels"
    return ", ".join(part for part in (focal, pixel) if part) or "camera of unknown scale"


def _memory(data: object, bends: bool) -> ScrewMemory:
    """A screw's memory from the profile; one that cannot be read is begun anew."""
    if data is None:
        return ScrewMemory(bends=bends)
    try:
        return replace(ScrewMemory.from_dict(data), moves=(), bends=bends)
    except RecordingError:
        return ScrewMemory(bends=bends)


def _locks(data: Mapping[str, object]) -> LockMemory:
    """The same for the locks."""
    try:
        return replace(LockMemory.from_dict(data), tonight=()) if data else NEW_LOCKS
    except RecordingError:
        return NEW_LOCKS


def _flexure(data: Mapping[str, object]) -> FlexureMemory:
    """The same for the bending."""
    try:
        return FlexureMemory.from_dict(data) if data else NEW_FLEXURE
    except RecordingError:
        return NEW_FLEXURE


class RigOutlets:
    """Satisfies engine.Outlets: keeps with the rig what its screws and locks have taught.

    Used in the night's thread.
    """

    def __init__(self, config: Path, stored: Stored[RigProfile] | None) -> None:
        self._store: ProfileStore[RigProfile] = ProfileStore(config, RIGS)
        self._stored = stored
        self._flexure_before = NEW_FLEXURE if stored is None else _flexure(stored.profile.flexure)

    def save_screw(self, screw: Screw, memory: ScrewMemory) -> None:
        """Write what is known of the screw by now; SettingsError when the disk refuses."""
        if self._stored is None:
            return
        kept = memory.for_next_night(learn(memory))
        profile = self._stored.profile
        screws = {**profile.screws, screw.value: kept.to_dict()}
        self._stored = self._store.save(self._stored, replace(profile, screws=screws))

    def save_locks(self, memory: LockMemory) -> None:
        """The same for what tightening the locks does."""
        if self._stored is not None:
            kept = memory.for_next_night().to_dict()
            self._stored = self._store.save(self._stored, replace(self._stored.profile, locks=kept))

    def save_flexure(self, bend: NightBend) -> None:
        """The same for how it bends; a night counts once, by what it told last."""
        if self._stored is not None:
            kept = self._flexure_before.with_night(bend).to_dict()
            self._stored = self._store.save(self._stored, replace(self._stored.profile, flexure=kept))

    def keep_night(self, state: NightState) -> None:
        """The record holds it already."""
