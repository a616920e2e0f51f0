"""What tightening the locks does, night after night: learned, kept with the rig, allowed for, told."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from paper_night import PaperNight
from polewright.core.errors import RecordingError
from polewright.core.model import Site, TargetPole
from polewright.core.night.advice import LocksTrial
from polewright.core.night.advise import advise
from polewright.core.night.effects import SaveLocks
from polewright.core.night.event_codec import event_from_plain
from polewright.core.night.events import AnyEvent, BaseLocked, BaseUnlocked, NightStarted
from polewright.core.night.states import NightState, Stage, Waiting
from polewright.core.night.table import step
from polewright.core.plain import to_plain
from polewright.core.screws.angles import ScrewAngles, screw_angles
from polewright.core.screws.lock_memory import NEW_LOCKS, LockMemory
from polewright.services.measuring import Optics
from polewright.services.profile_store import ProfileStore
from polewright.services.profiles import RIGS, RigProfile
from polewright.ui.driving.rig import Chosen, RigOutlets, rig_and_site
from polewright.words.coach import say
from polewright.words.screws import lock_words

ARCMIN = math.radians(1.0 / 60.0)
POLE = math.radians(52.0)
NONE = ScrewAngles(0.0, 0.0)


def of_nights(*shifts: tuple[float, float]) -> LockMemory:
    return LockMemory(tuple(shifts))


class TestMemory:
    def test_a_night_counts_once_by_its_median(self) -> None:
        memory = of_nights((0.0, 1.0))
        for height in (1.1, 1.5, 1.2):
            memory = memory.with_shift(ScrewAngles(3.0, -2.0), ScrewAngles(3.2, -2.0 + height))
        kept = memory.for_next_night()
        assert kept.tonight == () and kept.nights[1] == pytest.approx((0.2, 1.2))
        assert NEW_LOCKS.for_next_night() == NEW_LOCKS, "a night without a lock leaves nothing"

    def test_the_latest_nights_are_kept(self) -> None:
        memory = NEW_LOCKS
        for night in range(20):
            memory = memory.with_shift(NONE, ScrewAngles(0.0, float(night))).for_next_night()
        assert [height for _, height in memory.nights] == list(map(float, range(12, 20)))

    def test_median_and_spread(self) -> None:
        """Worked by hand: median 1.1; deviations 0.1, 0, 0.1, 8.9, 0.3, their median 0.1, times 1.4826."""
        usual = of_nights((0.0, 1.0), (0.0, 1.1), (0.0, 1.2), (0.0, 10.0), (0.0, 0.8)).usual
        assert usual is not None
        assert usual[1].median_arcmin == 1.1 and usual[1].spread_arcmin == pytest.approx(0.14826)

    def test_one_night_is_no_habit_and_scatter_is_none(self) -> None:
        assert of_nights((0.0, 1.2)).aim_rad(POLE, False) == (0.0, 0.0) and not of_nights((0.0, 1.2)).known_to(ARCMIN)
        scattered = of_nights((0.0, 1.2), (0.0, -0.9), (0.0, 0.3))
        assert scattered.aim_rad(POLE, False) == (0.0, 0.0) and not scattered.known_to(0.5 * ARCMIN)

    def test_locks_that_do_nothing_need_neither_aim_nor_trial(self) -> None:
        calm = of_nights((0.02, -0.05), (-0.04, 0.06))
        assert calm.known_to(0.1 * ARCMIN) and calm.aim_rad(POLE, False) == (0.0, 0.0)

    @pytest.mark.parametrize("southern", [False, True])
    def test_the_aim_plus_the_shift_is_the_pole(self, southern: bool) -> None:
        """Each screw by itself: the bearing scatters, the height does not."""
        memory = of_nights((0.8, 1.2), (-0.9, 1.1), (0.1, 1.3))
        aim = memory.aim_rad(POLE, southern)
        there = screw_angles(*aim, ((0.0, 0.0), (0.0, 0.0)), POLE, southern)
        assert (there.bearing_arcmin, there.height_arcmin) == pytest.approx((0.0, -1.2), abs=1e-9)
        both = of_nights((0.8, 1.2), (0.7, 1.1)).aim_rad(POLE, southern)
        side = 1.0 if southern else -1.0  # bearing grows eastward in the north, westward in the south
        assert both[0] == pytest.approx(side * 0.75 * math.cos(POLE) * ARCMIN, rel=1e-3)

    def test_words(self) -> None:
        assert lock_words((0.0, -4.2 * ARCMIN)) == "Your locks usually pull the axis 4.2′ up: stop that much below."
        both = lock_words((0.5 * ARCMIN, 2.0 * ARCMIN))
        assert both == "Your locks usually pull the axis 2.0′ down and 30″ west: stop that much above and east."

    @pytest.mark.parametrize("bad", [math.nan, math.inf, 1e9])
    def test_damage_is_noticed(self, bad: float) -> None:
        data = of_nights((0.1, 1.0)).to_dict()
        assert LockMemory.from_dict(json.loads(json.dumps(data))) == of_nights((0.1, 1.0))
        with pytest.raises(RecordingError):
            LockMemory.from_dict({**data, "nights": [[0.1, bad if abs(bad) < math.inf else repr(bad)]]})


class Listening(PaperNight):
    """A paper night that writes down what the coach said, and keeps what the night wants kept."""

    def feed(self, event: AnyEvent) -> None:
        super().feed(event)
        advice = advise(self.state)
        self.said = (*getattr(self, "said", ()), (self.state.stage, advice.reason, say(advice).why))

    def count(self, kind: type[AnyEvent]) -> int:
        return sum(isinstance(event, kind) for event in self.log)


def a_night(seed: int, memory: LockMemory, shift: tuple[float, float] = (0.1, 1.2), **more: float) -> Listening:
    rng = np.random.default_rng(seed)
    pulled = np.array(shift) + rng.normal(0.0, 0.05, 2)
    night = Listening(seed, off_deg=(0.4, -0.3), lock_memory=memory, shift=pulled, known=True, **more)  # type: ignore[arg-type]
    night.run()
    return night


class TestNights:
    def test_two_nights_teach_and_the_third_stops_below(self) -> None:
        memory = NEW_LOCKS
        for seed in (1, 2):
            night = a_night(seed, memory, tolerance_arcsec=60.0)
            assert any(isinstance(reason, LocksTrial) for _, reason, _ in night.said), "one night is no habit yet"
            assert not any("usually" in why for *_, why in night.said)
            memory = night.state.locks.memory.for_next_night()
        assert len(memory.nights) == 2 and memory.usual is not None
        assert memory.usual[1].median_arcmin == pytest.approx(1.2, abs=0.2)
        third = a_night(3, memory, tolerance_arcsec=60.0)
        told = [(stage, reason) for stage, _, reason in third.said if "Your locks usually pull the axis" in reason]
        assert told and all(stage is Stage.FINE for stage, _ in told)
        assert re.search("axis 7[0-9]″ up.*: stop that much below", told[0][1])
        assert not any(isinstance(reason, LocksTrial) for _, reason, _ in third.said)
        assert third.state.proved and not third.false_done and third.error_arcsec() < third.tolerance_arcsec
        assert third.count(BaseLocked) == 1 and third.count(BaseUnlocked) == 0, "right at the first go"

    def test_locks_that_changed_their_habit_cost_a_go_and_no_false_claim(self) -> None:
        """The rig has other locks now: they pull the other way."""
        night = a_night(4, of_nights((0.1, 1.2), (0.1, 1.3)), shift=(0.0, -1.2))
        assert night.state.proved and not night.false_done
        assert night.count(BaseUnlocked) >= 1

    def test_a_measured_tightening_is_to_be_kept_at_once(self) -> None:
        night, kept = a_night(1, NEW_LOCKS), []
        state: NightState = Waiting()
        for event in night.log:
            state, effects = step(state, event)
            kept += [effect.memory for effect in effects if isinstance(effect, SaveLocks)]
        assert kept and kept[-1] == state.locks.memory and len(kept) == len(kept[-1].tonight)

    def test_a_night_of_an_older_version_goes_as_it_went(self) -> None:
        """Its first event knows no locks: nothing is aimed beside the pole."""
        night = a_night(5, NEW_LOCKS)
        plain = to_plain(night.log[0])
        del plain["locks"]
        old = event_from_plain(plain)
        assert old == night.log[0]
        state: NightState = Waiting()
        for event in [old, *night.log[1:]]:
            state, _ = step(state, event)
        assert state == night.state

    def test_the_memory_travels_in_the_first_event(self) -> None:
        started = NightStarted(
            0.0, Site(52.0, 10.0), TargetPole.TRUE, POLE, 1e-4, locks=of_nights((0.1, 1.2), (0.0, 1.1))
        )
        again = event_from_plain(json.loads(json.dumps(to_plain(started))))
        assert again == started


class TestProfile:
    def test_a_rig_remembers_its_locks(self, tmp_path: Path) -> None:
        site, optics = Site(52.3, 3.0, 80.0), Optics(240.0, 5.0)
        for height in (1.1, 1.3):
            found = rig_and_site(tmp_path, Chosen(site, optics))
            outlets, memory = RigOutlets(tmp_path, found.stored), found.locks
            for again in range(2):  # twice in one night: still one night
                memory = memory.with_shift(NONE, ScrewAngles(0.0, height + 0.1 * again))
                outlets.save_locks(memory)
        assert rig_and_site(tmp_path, Chosen(site, optics)).locks.nights == (
            (0.0, pytest.approx(1.15)),
            (0.0, pytest.approx(1.35)),
        )
        RigOutlets(tmp_path, None).save_locks(memory)

    def test_damaged_locks_are_begun_anew(self, tmp_path: Path) -> None:
        optics = Optics(240.0, 5.0)
        rig_and_site(tmp_path, Chosen(Site(52.3, 3.0), optics))
        store: ProfileStore[RigProfile] = ProfileStore(tmp_path, RIGS)
        (rig,) = store.load_all().profiles
        store.save(rig, replace(rig.profile, locks={"nights": 7}))
        assert rig_and_site(tmp_path, Chosen(Site(52.3, 3.0), optics)).locks == NEW_LOCKS

    def test_a_rig_of_the_second_version_has_no_locks_yet(self, tmp_path: Path) -> None:
        folder = tmp_path / RIGS.folder
        folder.mkdir()
        old = {
            "format": "polewright-rig",
            "version": 2,
            "name": "old",
            "focal_length_mm": 400.0,
            "plan": {"hours": 3},
        }
        (folder / "old.json").write_text(json.dumps(old), encoding="utf-8")
        store: ProfileStore[RigProfile] = ProfileStore(tmp_path, RIGS)
        (stored,) = store.load_all().profiles
        assert stored.profile.locks == {} and stored.profile.plan == {"hours": 3}
        assert store.save(stored, replace(stored.profile, notes="seen")).members["version"] == RIGS.version
