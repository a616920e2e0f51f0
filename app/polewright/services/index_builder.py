"""Making the whole index of the sky ahead of time, in a process of its own that gives way to everything else.

Decided 2026-11-29. The index is made when the program starts, so that no frame waits for it. A thread was rejected:
a third of the work is Python's own and would hold up the window and the frames.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable

from polewright.core.matching.layers import LAYERS_PER_SQ_DEG, layers_by_fit
from polewright.core.matching.work import SolverWork
from polewright.services.catalogue import load_catalogue
from polewright.services.paths import cache_folder
from polewright.services.sky_index import SkyIndex

USUAL_SCALE_ARCSEC = 4.3  # 240 mm and 5 um: chosen, a usual guide scope
USUAL_PIXELS = 1280 * 960  # chosen, a usual guide camera
NICENESS = 15  # chosen: whatever else runs comes first


def layers_in_order(scale_arcsec_px: float | None) -> list[int]:
    """All layers, first those that a camera of this scale will ask for."""
    scale = scale_arcsec_px or USUAL_SCALE_ARCSEC
    return list(layers_by_fit(USUAL_PIXELS * (scale / 3600.0) ** 2))


def build_missing(index: SkyIndex, order: list[int], tell: Callable[[float], None]) -> int:
    """Make what no file holds yet; `tell` gets the share of the whole work that is done. How many were made."""
    missing = [n for n in order if not index.is_ready(n)]
    whole = sum(LAYERS_PER_SQ_DEG[n] for n in missing)
    done = 0.0
    for n in missing:
        part = LAYERS_PER_SQ_DEG[n]

        def progress(_work: SolverWork, fraction: float, before: float = done, part: float = part) -> None:
            tell((before + fraction * part) / whole)

        index.layer(n, progress)
        done += part
    return len(missing)


def serve(arguments: list[str]) -> int:
    """The process: one line with the share done after each step."""
    if hasattr(os, "nice"):
        with contextlib.suppress(OSError):
            os.nice(NICENESS)
    scale = float(arguments[0]) if arguments else None

    def tell(share: float) -> None:
        print(f"{share:.3f}", flush=True)

    try:
        build_missing(SkyIndex(load_catalogue(), cache_folder(), workers=1), layers_in_order(scale), tell)
    except BrokenPipeError:  # the window has gone
        os._exit(1)
    return 0
