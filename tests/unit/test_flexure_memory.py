"""What the nights teach of a bending tube: three at least, odd ones count less, a changed rig is forgotten."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from polewright.core.errors import RecordingError
from polewright.core.flexure import FLEXURE_PRIOR
from polewright.core.flexure_memory import KEPT_NIGHTS, NEW_FLEXURE, FlexureMemory, NightBend
from polewright.core.model import Site
from polewright.services.measuring import Optics
from polewright.services.profile_store import ProfileStore
from polewright.services.profiles import RIGS, RigProfile
from polewright.ui.driving.rig import Chosen, RigOutlets, rig_and_site
from polewright.words.flexure import bend_words, flexure_words

ARCSEC = math.pi / 648000.0


def night(sag: float, pull: float, sigma: float = 4.0) -> NightBend:
    variance = (sigma * ARCSEC) ** 2
    return NightBend(sag * ARCSEC, pull * ARCSEC, ((variance, 0.0), (0.0, variance)))


def after(*nights: NightBend) -> FlexureMemory:
    memory = NEW_FLEXURE
    for one in nights:
        memory = memory.with_night(one)
    return memory


def test_two_nights_narrow_nothing() -> None:
    flexure = after(night(12.0, 20.0), night(12.0, 20.0)).flexure
    assert (flexure.sag_rad, flexure.pull) == (0.0, 0.0)
    assert (flexure.sag_sigma_rad, flexure.pull_sigma) == (FLEXURE_PRIOR.sag_sigma_rad, FLEXURE_PRIOR.pull_sigma)
    assert flexure.nights == 2


def test_three_nights_that_agree_are_believed() -> None:
    flexure = after(*(night(12.0, 20.0) for _ in range(3))).flexure
    # by hand: each night 4" and 2" of scatter, prior 10" about 0: weight of three nights 3/20 of 3/20 + 1/100
    share = (3.0 / 20.0) / (3.0 / 20.0 + 1.0 / 100.0)
    assert flexure.sag_rad / ARCSEC == pytest.approx(12.0 * share, abs=1.0)
    assert flexure.pull / ARCSEC == pytest.approx(20.0 * share, abs=1.5)
    assert flexure.sag_sigma_rad / ARCSEC < 4.0
    assert flexure.nights == 3


def test_nights_that_scatter_leave_as_much_open() -> None:
    steady = after(*(night(10.0, 0.0) for _ in range(6))).flexure
    restless = after(*(night(10.0 + move, 0.0) for move in (-14.0, 12.0, 9.0, -11.0, 15.0, -12.0))).flexure
    assert restless.sag_sigma_rad > 1.8 * steady.sag_sigma_rad


def test_one_odd_night_moves_little() -> None:
    usual = after(*(night(10.0, 15.0) for _ in range(6))).flexure
    odd = after(*(night(10.0, 15.0) for _ in range(3)), night(90.0, -60.0), *(night(10.0, 15.0) for _ in range(3)))
    assert abs(odd.flexure.sag_rad - usual.sag_rad) / ARCSEC < 4.0
    assert abs(odd.flexure.pull - usual.pull) / ARCSEC < 4.0


def test_a_changed_rig_is_forgotten_after_two_nights() -> None:
    old = [night(10.0, 15.0) for _ in range(5)]
    assert len(after(*old, night(10.0, -50.0)).nights) == 6, "one night may be odd"
    changed = after(*old, night(10.0, -50.0), night(11.0, -48.0))
    assert len(changed.nights) == 2
    assert changed.flexure.pull == 0.0, "and nothing is believed of the new one yet"


def test_the_sigma_covers_what_the_next_night_does() -> None:
    """300 rigs, six nights each, drawn with 10" of bending and 3" from night to night: the seventh lies inside 95 %
    as often as it says, and learning has narrowed what is expected to less than half of the prior."""
    rng = np.random.default_rng(8)
    inside, sigmas = 0, []
    for _ in range(300):
        truth = rng.normal(0.0, 10.0, 2)
        nights = [night(*(truth + rng.normal(0.0, 3.0, 2) + rng.normal(0.0, 4.0, 2))) for _ in range(6)]
        flexure = after(*nights).flexure
        tonight = truth + rng.normal(0.0, 3.0, 2)
        apart = (tonight * ARCSEC - [flexure.sag_rad, flexure.pull]) / [flexure.sag_sigma_rad, flexure.pull_sigma]
        inside += int(np.sum(np.abs(apart) <= 1.96))
        sigmas.append(flexure.sag_sigma_rad / ARCSEC)
    assert 0.92 <= inside / 600.0 <= 0.99
    assert np.median(sigmas) < 5.0


def test_it_keeps_a_dozen_nights_and_reads_them_back() -> None:
    memory = after(*(night(5.0, float(i % 3)) for i in range(20)))
    assert len(memory.nights) == KEPT_NIGHTS
    assert FlexureMemory.from_dict(memory.to_dict()) == memory


@pytest.mark.parametrize("damage", [math.nan, 1.0])
def test_damage_is_refused(damage: float) -> None:
    broken = FlexureMemory((NightBend(damage, 0.0, ((1e-10, 0.0), (0.0, 1e-10))),))
    with pytest.raises(RecordingError):
        FlexureMemory.from_dict(broken.to_dict())


def test_a_slip_is_no_bending() -> None:
    assert NEW_FLEXURE.with_night(night(5000.0, 0.0)) == NEW_FLEXURE


SITE, OPTICS = Site(52.3, 3.0, 80.0), Optics(240.0, 5.0)


def test_a_rig_remembers_its_nights_each_once(tmp_path: Path) -> None:
    for _ in range(3):
        outlets = RigOutlets(tmp_path, rig_and_site(tmp_path, Chosen(SITE, OPTICS)).stored)
        outlets.save_flexure(night(40.0, -40.0))
        outlets.save_flexure(night(12.0, 20.0))  # the same night again: its last word counts
    memory = rig_and_site(tmp_path, Chosen(SITE, OPTICS)).flexure
    assert memory.nights == (night(12.0, 20.0),) * 3
    assert memory.flexure.nights == 3
    RigOutlets(tmp_path, None).save_flexure(night(1.0, 1.0))


def test_a_night_that_is_resumed_counts_once(tmp_path: Path) -> None:
    for told in (night(40.0, -40.0), night(20.0, 0.0), night(12.0, 20.0)):
        found = rig_and_site(tmp_path, Chosen(SITE, OPTICS))
        RigOutlets(tmp_path, found.stored, "2026-03-02").save_flexure(told)
    RigOutlets(tmp_path, rig_and_site(tmp_path, Chosen(SITE, OPTICS)).stored, "2026-03-03").save_flexure(told)
    memory = rig_and_site(tmp_path, Chosen(SITE, OPTICS)).flexure
    assert memory.nights == (replace(told, night="2026-03-02"), replace(told, night="2026-03-03"))


def test_the_memory_of_older_profiles_is_read() -> None:
    old = after(night(12.0, 20.0)).to_dict()
    for one in old["nights"]:  # type: ignore[attr-defined]
        del one["night"]
    assert FlexureMemory.from_dict(old) == after(night(12.0, 20.0))


def test_another_camera_begins_with_nothing(tmp_path: Path) -> None:
    RigOutlets(tmp_path, rig_and_site(tmp_path, Chosen(SITE, OPTICS)).stored).save_flexure(night(12.0, 20.0))
    assert rig_and_site(tmp_path, Chosen(SITE, Optics(400.0, 3.0))).flexure == NEW_FLEXURE


def test_a_damaged_memory_is_begun_anew(tmp_path: Path) -> None:
    rig_and_site(tmp_path, Chosen(SITE, OPTICS))
    store: ProfileStore[RigProfile] = ProfileStore(tmp_path, RIGS)
    (rig,) = store.load_all().profiles
    store.save(rig, replace(rig.profile, flexure={"nights": 7}))
    assert rig_and_site(tmp_path, Chosen(SITE, OPTICS)).flexure == NEW_FLEXURE


def test_the_report_says_what_was_expected_and_what_the_turns_told() -> None:
    assert flexure_words(NEW_FLEXURE.flexure).endswith("as usual (not learned yet; 3 teach it)")
    learned = flexure_words(after(*(night(12.0, -20.0) for _ in range(4))).flexure)
    assert learned.startswith(("sag 12″", "sag 11″"))
    assert "pull −1" in learned and learned.endswith("from 4 nights")
    assert bend_words(night(12.0, -20.0)) == "sag 12″ ± 4″, pull −20″ ± 4″ in 57° of turn"
