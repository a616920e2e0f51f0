"""A drift that is being watched in the night: the frames' places, and what they say so far."""

from __future__ import annotations

from dataclasses import dataclass, replace

from polewright.core.drift.live import DriftSample
from polewright.core.drift.reading import DriftReading, Side
from polewright.core.drift.reasons import DriftRefusal
from polewright.core.model import Utc
from polewright.core.night.measured import MeasuredAxis, PlacedFrame


@dataclass(frozen=True)
class DriftWatch:
    """Watching the drift: from which side of the meridian, the frames' places, and what they say.

    `begun` is the time of the first frame, from which samples count; `frame` the latest; `read_s` the night's time of
    `reading`; `refusal` why there is none. `kept`: the reading has been written into the record. `stood`:
    the mount has stood for half an hour or longer, as the person says, and settles no more; so `guiding_off`, None
    until it is said, which is waited for where it is to be asked (`ask`), and `nudged_s`, when the declination was
    last said to be nudged.
    """

    side: Side = "east"
    stood: bool = False
    ask: bool = False
    guiding_off: bool | None = None
    nudged_s: float | None = None
    begun: Utc | None = None
    samples: tuple[DriftSample, ...] = ()
    frame: PlacedFrame | None = None
    reading: DriftReading | None = None
    read_s: float = 0.0
    refusal: DriftRefusal | None = None
    kept: bool = False

    @property
    def here(self) -> tuple[DriftSample, ...]:
        """The frames of the present field."""
        return tuple(s for s in self.samples if s.position == self.samples[-1].position)

    @property
    def fresh_field(self) -> bool:
        """Whether the present field has no say in the reading yet."""
        positions = [s.position for s in self.samples]
        return self.reading is None or (bool(positions) and positions.count(positions[-1]) < 3)


def anew(watch: DriftWatch | None) -> DriftWatch:
    """A watch without frames; what the person said stays, but for the nudge that was in them."""
    return DriftWatch() if watch is None else DriftWatch(watch.side, watch.stood, watch.ask, watch.guiding_off)


def shifted_axis(axis: MeasuredAxis | None, raised_rad: float) -> MeasuredAxis | None:
    """The same axis against a pole that stands higher by so much."""
    if axis is None:
        return None
    return replace(axis, up_rad=axis.up_rad - raised_rad, companion_up_rad=axis.companion_up_rad - raised_rad)


def shifted_reading(watch: DriftWatch | None, raised_rad: float) -> DriftWatch | None:
    """The same for what a drift has told."""
    if watch is None or watch.reading is None:
        return watch
    return replace(watch, reading=replace(watch.reading, up_rad=watch.reading.up_rad - raised_rad))
