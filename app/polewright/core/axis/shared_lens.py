"""One lens for all frames of a capture: where each points, fitted together with how the lens bends.

Decided 2026-11-29. A lens of 90 degrees bends by more than its stars scatter. Fitted frame by frame, its bend is
another one in every frame, and the attitudes take up the difference: five frames of a camera that stands still gave
the pole to 6 arcmin. The lens is the same in all of them, so it is fitted once, with its centre free, in the observed
sky, where refraction does not pass for bend. The radius on the sensor is an odd polynomial of the angle from the
boresight (Kannala & Brandt, IEEE PAMI 28, 1335 (2006)), which serves a straight drawing as well as a fisheye of 180
degrees; tilted elements as usual (Brown, Photogramm. Eng. 32, 444 (1966)). More terms of the tangent plane were
rejected: a tangent ends at 90 degrees.
A camera's axes are a matter of agreement where the lens has no middle of its own: they are laid so that the frames
stand, on average, as each alone says. A frame that no lens could be fitted to goes with the others by its own sigmas.
Only captures of three and more frames wider than 35 degrees are fitted so; others keep what they have, wide ones as
unsure as sky_frame() makes them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from polewright.core.angles import ARCSEC_PER_RAD
from polewright.core.attitude import rotation_vector
from polewright.core.axis.lens import first_lens
from polewright.core.axis.lens_fit import Learned, clipped, covariances_of, equations, prior_of, turn_by, turned
from polewright.core.axis.lens_stars import Listed, Seen, Wide
from polewright.core.axis.sky_frame import is_bent
from polewright.core.camera import moved_alike_rad2
from polewright.core.model import Atmosphere, Attitude, Camera, FloatArray, PlateSolution, Site, SkyFrame
from polewright.core.sky.catalogue import Catalogue

FEWEST_FRAMES = 3  # with two the lens takes up what the axis should
_LOOKS = 2  # for the stars of a frame where a known lens draws them
_REACH_STEP = 1.15  # so much farther out with each round: a bend known to a radius holds a little beyond it (chosen)
_TRUSTED = (0.4, 1.0)  # of the half diagonal: near the middle the lens of one frame is right, or else all over it
# a frame belongs to a lens when its stars scatter by no more than so many times those that the lens was learned from,
# and so many of those that its own solution matched are found
_SPREADS, _SHARE_FOUND = 2.5, 0.5


def with_shared_lens(
    frames: Sequence[Wide], catalogue: Catalogue, site: Site, atmosphere: Atmosphere
) -> list[SkyFrame]:
    """The frames (N,) with attitudes that one lens explains, by all their stars that the catalogue knows; each alone
    where they are not wide, too few, of several cameras, or no lens explains them."""
    learned = learned_lens(frames, catalogue, site, atmosphere)
    return [frame.sky for frame in frames] if learned is None else frames_by(learned, frames)


def learned_lens(frames: Sequence[Wide], catalogue: Catalogue, site: Site, atmosphere: Atmosphere) -> Learned | None:
    """The one lens of these frames; None where they are not wide, too few, of several cameras, or none explains
    them."""
    if not is_wide([frame.solution for frame in frames]):
        return None
    lists = [Listed.of(frame, catalogue, site, atmosphere) for frame in frames]
    grown = [_grown(frames, lists, share) for share in _TRUSTED]
    best = max(filter(None, grown), key=lambda learned: learned.stars, default=None)
    if best is None:
        return None
    alone = [frame.sky.attitude_enu.camera_to_sky for frame in frames]
    turns = [rotation_vector(own.T @ each) for own, each in zip(best.attitudes, alone)]
    return replace(best, turn=turn_by(np.median(turns, axis=0)))


def frames_by(learned: Learned, frames: Sequence[Wide]) -> list[SkyFrame]:
    """The frames (N,) that a lens was learned from, as it has them."""
    return [
        _placed(frame, learned, attitude, covariance, seen)
        for frame, attitude, covariance, seen in zip(
            frames, learned.attitudes, learned.covariances, learned.seen, strict=True
        )
    ]


def frame_by(
    learned: Learned, frame: Wide, catalogue: Catalogue, site: Site, atmosphere: Atmosphere
) -> SkyFrame | None:
    """Another frame by a lens that is known, against the frames that it was learned from; None where its stars do not
    lie where that lens draws them: it is another lens, or it was zoomed or focused anew."""
    camera = frame.solution.camera
    corner = 0.5 * float(np.hypot(camera.width_px, camera.height_px))
    listed = Listed.of(frame, catalogue, site, atmosphere)
    attitude = np.asarray(frame.sky.attitude_enu.camera_to_sky @ learned.turn.T)
    for _ in range(_LOOKS):
        seen = listed.matched(learned.lens, attitude, corner)
        found = turned(learned.lens, attitude, seen)
        if found is None:
            return None
        attitude, seen, spread = found
    enough = len(seen.sigma_px) >= _SHARE_FOUND * len(frame.solution.matched)
    if not enough or spread > _SPREADS * learned.spread:
        return None
    prior = prior_of(camera, learned.lens.focal_px)
    together = [*learned.attitudes, attitude], [*learned.seen, seen]
    normal, _, residuals = equations(learned.lens, *together, prior)
    covariance = covariances_of(normal, residuals, learned.lens)[-1]
    return _placed(frame, learned, attitude, covariance, seen)


def _grown(frames: Sequence[Wide], lists: Sequence[Listed], share: float) -> Learned | None:
    """From what the solutions matched within a share of the half diagonal out to the corners; None where no lens of
    this kind explains even that."""
    camera = frames[0].solution.camera
    seen = [each.first(frame.solution, share) for frame, each in zip(frames, lists)]
    start = Learned(
        first_lens(camera, max(each.reach_px for each in seen)),
        [frame.sky.attitude_enu.camera_to_sky for frame in frames],
    )
    state = clipped(start, seen, camera)
    for reach in _reaches(seen, camera) if state is not None else ():
        assert state is not None
        seen = [each.matched(state.lens, attitude, reach) for each, attitude in zip(lists, state.attitudes)]
        further = clipped(state, seen, camera)
        if further is None:
            break
        state = further
    return state


def _reaches(seen: Sequence[Seen], camera: Camera) -> list[float]:
    """Pixels from the middle, from where the first stars end out to the corner, and there once more."""
    corner = 0.5 * float(np.hypot(camera.width_px, camera.height_px))
    reach = max(each.reach_px for each in seen)
    steps = max(0, int(np.ceil(np.log(corner / reach) / np.log(_REACH_STEP))))
    return [reach * _REACH_STEP**k for k in range(steps)] + [corner, corner]


def is_wide(solutions: Sequence[PlateSolution]) -> bool:
    """Are these frames enough, of one camera, and so wide that their lens is worth a fit of its own?"""
    if len(solutions) < FEWEST_FRAMES:
        return False
    first = solutions[0].camera
    alike = all(
        (s.camera.width_px, s.camera.height_px, s.camera.mirrored)
        == (first.width_px, first.height_px, first.mirrored)
        for s in solutions
    )
    return alike and is_bent(first)


def _placed(frame: Wide, learned: Learned, attitude: FloatArray, covariance: FloatArray, seen: Seen) -> SkyFrame:
    u, _, vt = np.linalg.svd(attitude @ learned.turn)
    focal = learned.lens.focal_px
    camera = replace(frame.sky.camera, focal_px=focal)
    own = learned.turn.T @ covariance @ learned.turn + moved_alike_rad2(camera, frame.stars.shared_error)
    return replace(
        frame.sky,
        attitude_enu=Attitude(u @ vt, own),
        camera=camera,
        stars_matched=len(seen.sigma_px),
        rms_arcsec=learned.rms_px / focal * ARCSEC_PER_RAD,
    )
