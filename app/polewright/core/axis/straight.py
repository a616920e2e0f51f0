"""What a rig is known to give is taken off its frames before they are asked whether they fit.

Taken off the axis alone it would be right as far as the fit is linear, but the frames would be judged bent: a pull of
15" per radian leaves several arcseconds over 110 degrees, beside stars that tell a tenth, and a clutch was blamed.
"""

from __future__ import annotations

import numpy as np

from polewright.core.angles import rotation_about
from polewright.core.axis.fit import shared_axis
from polewright.core.axis.nuisances import pull_turn, sag_turn
from polewright.core.flexure import Flexure
from polewright.core.model import FloatArray


def straightened(attitudes: FloatArray, pole: FloatArray, flexure: Flexure) -> FloatArray:
    """Attitudes (N, 3, 3), camera to ENU, of a turn about an axis near `pole`, without the known sag and pull."""
    if flexure.sag_rad == 0.0 and flexure.pull == 0.0:
        return attitudes
    axis, in_camera = shared_axis(attitudes, pole)
    bent = flexure.sag_rad * sag_turn(attitudes) + flexure.pull * pull_turn(attitudes, axis, in_camera)
    return np.stack([_turned_back(attitude, turn) for attitude, turn in zip(attitudes, bent)])


def _turned_back(attitude: FloatArray, turn: FloatArray) -> FloatArray:
    angle = float(np.linalg.norm(turn))
    return attitude if angle == 0.0 else rotation_about(turn / angle, -angle) @ attitude
