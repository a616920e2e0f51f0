"""What hands do to a simulated mount. A deed is done at once in the world; it tells how long hands take for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from polewright.core.screws.angles import Screw
from polewright.practice.world import RehearsalWorld
from polewright.words.numbers import number_text, sense_text

LETS_GO_S = 1.0  # after a turn, until the hand is off the screw
SET_UP_S, POINT_S, LOCK_S, CLUTCH_S, FOCUS_S = 90.0, 20.0, 10.0, 20.0, 20.0  # at leisure; common practice, no source
TIGHTENING_S = 3.0
PRESS_S = 0.5
EXPOSE_S = 3.0
NUDGE_ARCMIN = 1.0  # as the instruction asks
EAST_AGAIN_H = -2.0


@dataclass(frozen=True)
class Done:
    """A deed that was done, in words; the mount moves for `moving_s`, a person at leisure takes `leisure_s`."""

    text: str
    moving_s: float = 0.0
    leisure_s: float = 0.0

    @property
    def seconds(self) -> float:
        """Until a person who takes their time has done it."""
        return max(self.moving_s, self.leisure_s)


Deed = Callable[[RehearsalWorld], Done]


def turn_screw(screw: Screw, turns: float) -> Deed:
    """Turn a screw, clockwise positive."""

    def deed(world: RehearsalWorld) -> Done:
        until = world.rig.turn(screw.value, turns, world.now())
        text = f"turns {screw.value} {number_text(abs(turns))} {sense_text(turns)}"
        return Done(text, world.seconds_until(until) + LETS_GO_S)

    return deed


def rotate_axis(west_deg: float) -> Deed:
    """Rotate the RA axis, west positive."""

    def deed(world: RehearsalWorld) -> Done:
        until = world.rig.rotate_ra(west_deg, world.now())
        text = f"rotates the RA axis {abs(west_deg):.0f}° {'west' if west_deg > 0.0 else 'east'}"
        return Done(text, world.seconds_until(until))

    return deed


def point_to(hour_angle_h: float, declination_deg: float, what: str = "points") -> Deed:
    """Point the telescope to a field and let the mount track."""

    def deed(world: RehearsalWorld) -> Done:
        until = world.rig.point(hour_angle_h, declination_deg, world.now())
        world.rig.set_tracking(True, until)
        text = f"{what} {_place_text(hour_angle_h)}, declination {declination_deg:+.0f}°"
        return Done(text, world.seconds_until(until), POINT_S)

    return deed


def point_camera(hour_angle_h: float) -> Deed:
    """Point the camera to where this night looks at, at that hour angle."""
    return lambda world: point_to(hour_angle_h, world.usual_declination_deg, "points the camera")(world)


def tighten_locks(after_s: float = 0.0) -> Deed:
    """Tighten the locks of the base, after a while of fumbling for them."""

    def deed(world: RehearsalWorld) -> Done:
        world.clock.after(after_s, lambda: _tighten(world))
        return Done("tightens the locks", after_s + TIGHTENING_S, LOCK_S)

    return deed


def loosen_locks(_world: RehearsalWorld) -> Done:
    """Loosen them; the axis stays where it is."""
    return Done("loosens the locks a little", leisure_s=LOCK_S)


def expose(factor: float) -> Deed:
    """Another exposure time."""

    def deed(world: RehearsalWorld) -> Done:
        world.change_exposure(factor)
        return Done(f"exposes {world.exposure_s:g} s", leisure_s=EXPOSE_S)

    return deed


def tighten_clutch(world: RehearsalWorld) -> Done:
    """The declination axis slips no more."""
    world.tighten_clutch()
    return Done("tightens the declination clutch and starts again", leisure_s=CLUTCH_S)


def refocus(world: RehearsalWorld) -> Done:
    """The stars are sharp again."""
    world.refocus()
    return Done("refocuses the camera", leisure_s=FOCUS_S)


def nudge_declination(world: RehearsalWorld) -> Done:
    """A short press on the hand controller, after the key that tells of it; the declination stays there."""
    world.clock.after(2.0 * PRESS_S, lambda: world.rig.nudge(NUDGE_ARCMIN, world.now()))
    return Done("nudges the declination", leisure_s=PRESS_S)


def press(text: str) -> Deed:
    """Nothing but a key."""
    return lambda world: Done(text, leisure_s=PRESS_S)


def _tighten(world: RehearsalWorld) -> None:
    world.rig.tighten(world.now())


def _place_text(hour_angle_h: float) -> str:
    """`to the meridian`, `1.5 h east of the meridian`."""
    if abs(hour_angle_h) < 0.05:
        return "to the meridian"
    return f"{abs(hour_angle_h):.1f} h {'west' if hour_angle_h > 0.0 else 'east'} of the meridian"
