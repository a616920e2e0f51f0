"""The coach once the alignment is proved or accepted, while nothing else is to be said."""

from __future__ import annotations

from polewright.core.night.advice import Ended
from polewright.core.night.states import Running


def advise_end(state: Running) -> Ended:
    """Nothing more to do."""
    return Ended(state.proved, state.drift is not None, state.offset, state.plan.tolerance_rad)
