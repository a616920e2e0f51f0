"""Names that the first page proposes: of the site that lies here, of the rig that was last used with these optics."""

from __future__ import annotations

from collections.abc import Sequence

from polewright.core.model import Site
from polewright.services.measuring import Optics
from polewright.services.profiles import RigProfile, SiteProfile
from polewright.ui.driving.form import number_text
from polewright.words.rigs import UNKNOWN_SCALE, place_text

SAME_PLACE_DEG = 0.02  # 2 km: chosen, a place found by a telephone and by a map
WHOLE_MM = 50.0  # from here on the millimetre is a hundredth
SAME_SHARE = 0.02  # of a focal length: focus and rounding


def proposed_site(site: Site, sites: Sequence[SiteProfile]) -> str:
    """The known site used last of those that lie here, else its coordinates."""
    here = [profile for profile in sites if _same_place(profile.site, site)]
    return max(here, key=lambda profile: profile.used).name if here else place_text(site)


def proposed_rig(optics: Optics, rigs: Sequence[RigProfile]) -> str:
    """Of the rigs with these optics the one used last, else the optics themselves."""
    alike = same_optics(optics, rigs)
    return max(alike, key=lambda rig: rig.used).name if alike else optics_name(optics)


def same_optics(optics: Optics, rigs: Sequence[RigProfile]) -> tuple[RigProfile, ...]:
    """The rigs that the optics do not tell apart."""
    focal, pixel = optics.focal_length_mm, optics.pixel_size_um
    return tuple(r for r in rigs if same_size(r.focal_length_mm, focal) and same_size(r.pixel_size_um, pixel))


def _same_place(there: Site, here: Site) -> bool:
    return max(abs(there.lat_deg - here.lat_deg), abs(there.lon_deg - here.lon_deg)) < SAME_PLACE_DEG


def same_size(a: float | None, b: float | None) -> bool:
    """Whether two focal lengths, or pixel sizes, are one."""
    return a == b if a is None or b is None else abs(a - b) <= SAME_SHARE * b


def optics_name(optics: Optics) -> str:
    """`240 mm, 5 µm pixels`: the scale of the page *Stand*, to a hundredth."""
    mm = optics.focal_length_mm
    focal = "" if mm is None else f"{number_text(mm, int(mm < WHOLE_MM))} mm"
    pixel = "" if optics.pixel_size_um is None else f"{number_text(optics.pixel_size_um, 2)} µm pixels"
    return ", ".join(part for part in (focal, pixel) if part) or UNKNOWN_SCALE
