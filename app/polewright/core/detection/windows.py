"""Small square windows cut from a frame around candidates, freed of their local sky background."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TypeVar

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from polewright.core.model import FloatArray, PixelArray

WindowArray = NDArray[np.float32]
Values = TypeVar("Values", FloatArray, NDArray[np.int64])

MAD_TO_SIGMA = 1.4826  # 1 / inverse of Phi at 3/4: sigma of a normal distribution from its median deviation
QUANTISATION_NOISE = 1.0 / np.sqrt(12.0)  # ADU; the least noise a whole-number pixel can have
_CLIP_SIGMA = 3.0  # chosen: a star in the border of a window lifts its sky no more
_UPPER_SHARE = 0.7  # neighbours in the rim raise the upper side


@dataclass(frozen=True, eq=False)
class Windows:
    """N windows of P x P pixels, P odd, all wholly inside the frame (so a star near the edge sits off centre).

    `sky_free` (N, P, P) has the local plane of sky subtracted; `x0_px`, `y0_px` (N,) is the frame position of each
    window's first pixel; `sky_adu` and `noise_adu` (N,) are the level and the pixel noise in the rim of the window.
    """

    sky_free: WindowArray
    x0_px: FloatArray
    y0_px: FloatArray
    sky_adu: FloatArray
    noise_adu: FloatArray

    @property
    def rim_size(self) -> int:
        """Number of pixels that the sky level rests on."""
        return int(_planes(self.side_px)[0].size)

    @property
    def side_px(self) -> int:
        return int(self.sky_free.shape[1])

    def select(self, keep: NDArray[np.bool_] | NDArray[np.int64] | slice) -> Windows:
        """The windows where `keep` is true, or at its indices; a slice copies nothing."""
        return Windows(
            self.sky_free[keep], self.x0_px[keep], self.y0_px[keep], self.sky_adu[keep], self.noise_adu[keep]
        )


def middle(values: NDArray[np.floating]) -> float:
    """The upper median of one or more values: a tenth of the time of numpy's median on short arrays."""
    return float(np.sort(values)[values.size // 2])


def held(values: Values, least: float, most: float) -> Values:
    """The values held between two bounds: half the time of numpy's clip on short arrays."""
    return np.minimum(np.maximum(values, least), most)


def largest_half_px(pixels: PixelArray, wanted: int) -> int:
    """The half side of a window that still fits into the frame, at most `wanted` (0 for a frame of one row)."""
    return max(0, min(wanted, (int(min(pixels.shape)) - 1) // 2))


def cut_windows(pixels: PixelArray, x_px: FloatArray, y_px: FloatArray, half_px: int) -> Windows:
    """Windows of side 2 * half_px + 1 around the positions, with a plane fitted to their rim taken off.

    The rim is clipped at three sigma, so that a neighbour there does little harm.
    """
    half = largest_half_px(pixels, half_px)
    side = 2 * half + 1
    height, width = pixels.shape
    x0 = held(np.rint(x_px).astype(np.int64) - half, 0, width - side)
    y0 = held(np.rint(y_px).astype(np.int64) - half, 0, height - side)
    cut = sliding_window_view(pixels, (side, side))[y0, x0].astype(np.float32)
    return _without_sky(cut, x0.astype(np.float64), y0.astype(np.float64), pixels.dtype.kind != "f")


@lru_cache(maxsize=64)
def _planes(side: int) -> tuple[NDArray[np.int64], WindowArray, WindowArray, WindowArray]:
    """Flat indices of the n pixels in the rim of a window; level, slope along x and along y about the centre, of the
    window (3, side^2) and of its rim (3, n); and what takes a rim to its least-squares plane: (n, 3), for the rim is
    symmetric."""
    half = side // 2
    thickness = 1 if side < 9 else max(2, half // 4)
    dy, dx = np.mgrid[-half : half + 1, -half : half + 1]
    flat = np.flatnonzero((np.abs(dx) > half - thickness) | (np.abs(dy) > half - thickness))
    planes = np.stack([np.ones(side * side), dx.ravel(), dy.ravel()]).astype(np.float32)
    rim = planes[:, flat]
    to_plane = np.ascontiguousarray((rim / np.maximum(np.square(rim).sum(axis=1, keepdims=True), 1.0)).T)
    return flat, planes, rim, to_plane


def _without_sky(cut: WindowArray, x0: FloatArray, y0: FloatArray, whole_numbers: bool) -> Windows:
    count, side, _ = cut.shape
    flat, planes, rim, to_plane = _planes(side)
    pixels = cut.reshape(count, side * side)
    rest = pixels[:, flat]
    ordered = np.sort(rest[:, ::2], axis=1)  # every other pixel tells as well where to clip
    n = ordered.shape[1]
    middle, low, high = ordered[:, n // 2], ordered[:, int(n * 0.1587)], ordered[:, int(n * 0.8413)]
    spread = np.maximum(middle - low, _UPPER_SHARE * (high - middle))  # sky that is cut off at zero has no lower side
    least = np.float32(QUANTISATION_NOISE if whole_numbers else 0.0)
    reach = np.float32(_CLIP_SIGMA) * np.maximum(spread, least)[:, None]
    rest -= middle[:, None]
    np.minimum(np.maximum(rest, -reach, out=rest), reach, out=rest)
    plane = rest @ to_plane
    rest -= plane @ rim
    # what clipping at three sigma hides of a Gaussian is 1.3 % of its width; crowding makes it an over-estimate
    noise = np.maximum(np.sqrt(np.einsum("ij,ij->i", rest, rest) / max(1, flat.size - 3)), least)
    plane[:, 0] += middle
    pixels -= plane @ planes
    return Windows(cut, x0, y0, plane[:, 0].astype(np.float64), noise.astype(np.float64))
