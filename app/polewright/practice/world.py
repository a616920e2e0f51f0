"""The world of a rehearsal: a simulated rig and a camera that takes one frame after the other, in virtual time.

The truth is in here; the engine and whoever follows its advice never look at it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from polewright.core.model import Site, TargetPole, Utc
from polewright.services.clock import VirtualClock
from polewright.simulate.night import scenario_named
from polewright.simulate.rig import SimulatedRig
from polewright.simulate.scenarios import Scenario
from polewright.simulate.stars import StarSource

EXPOSURE_S, READOUT_S = 2.0, 1.0  # as one measures an axis
BRISK_EXPOSURE_S, BRISK_READOUT_S = 1.0, 0.5  # as one follows a hand: a frame every 1.5 s
SHORTEST_S, LONGEST_S = 0.25, 16.0
Deliver = Callable[[Utc, float], None]


@dataclass(frozen=True)
class TrueOffset:
    """Where the axis really is against a pole, arcmin on the sky."""

    east_arcmin: float
    up_arcmin: float

    @property
    def total_arcmin(self) -> float:
        return float((self.east_arcmin**2 + self.up_arcmin**2) ** 0.5)


class RehearsalWorld:
    """Attributes: `rig`; `clock`, whose date is what the computer believes; `exposure_s` of the running camera."""

    def __init__(
        self,
        scenario: str | Scenario,
        seed: int,
        exposure_s: float = EXPOSURE_S,
        catalogue: StarSource | None = None,
        readout_s: float = READOUT_S,
    ) -> None:
        drawn = scenario if isinstance(scenario, Scenario) else scenario_named(scenario)
        self.rig = SimulatedRig(drawn, seed, catalogue)
        night = self.rig.night
        self.clock = VirtualClock(night.start.plus_seconds(night.scenario.clock_error_s))
        self.exposure_s, self._readout_s = exposure_s, readout_s
        self.frames_taken = 0
        self._deliver: Deliver | None = None

    @property
    def site(self) -> Site:
        return self.rig.night.scenario.site

    def now(self) -> Utc:
        """True time."""
        return self.rig.night.start.plus_seconds(self.clock.monotonic_s())

    def seconds_until(self, utc: Utc) -> float:
        """From now to a true instant."""
        return max(0.0, utc.seconds_since(self.now()))

    def start_camera(self, deliver: Deliver) -> None:
        """Expose again and again; `deliver(start, exposure_s)` when a frame has been read out."""
        first = self._deliver is None
        self._deliver = deliver
        if first:
            self._open_shutter()

    def work_briskly(self) -> None:
        """Short exposures, quickly read out: for a hand that the eye leads."""
        self.exposure_s, self._readout_s = BRISK_EXPOSURE_S, BRISK_READOUT_S

    def change_exposure(self, factor: float) -> None:
        """Longer or shorter, within what guide cameras offer."""
        self.exposure_s = min(max(self.exposure_s * factor, SHORTEST_S), LONGEST_S)

    def tighten_clutch(self) -> None:
        """The declination axis slips no more."""
        night = self.rig.night
        mount = replace(night.scenario.mount, declination_slip_arcmin=(0.0, 0.0))
        self.rig.night = replace(night, scenario=replace(night.scenario, mount=mount))

    def refocus(self) -> None:
        """The stars are sharp."""
        night = self.rig.night
        self.rig.night = replace(night, scenario=replace(night.scenario, defocus_px=0.0))

    @property
    def first_hour_angle_h(self) -> float:
        """Where the camera looks first, west positive."""
        return self.rig.night.scenario.hour_angle_h

    @property
    def usual_declination_deg(self) -> float:
        """The declination that this night looks at."""
        night = self.rig.night
        return (-1.0 if night.southern else 1.0) * night.scenario.declination_toward_pole_deg

    def true_offset(self, target: TargetPole) -> TrueOffset:
        """The truth against a target pole, now."""
        truth = self.rig.axis(self.now())
        (te, tu), (re, ru) = truth.from_true_pole_arcmin, truth.from_refracted_pole_arcmin
        share = target.value
        return TrueOffset(te + share * (re - te), tu + share * (ru - tu))

    def _open_shutter(self) -> None:
        start, exposure_s = self.now(), self.exposure_s
        self.clock.after(exposure_s + self._readout_s, lambda: self._read_out(start, exposure_s))

    def _read_out(self, start: Utc, exposure_s: float) -> None:
        self.frames_taken += 1
        self._open_shutter()
        if self._deliver is not None:
            self._deliver(start, exposure_s)
