"""What a person is told about work that takes a while."""

from __future__ import annotations

from typing import assert_never

from polewright.core.matching.work import FieldsTried, IndexMade, PatchesSearched, SolverWork

LEARNING = "Learning the star patterns"


def work_words(work: SolverWork) -> tuple[str, str]:
    """Title, and a note to it."""
    match work:
        case IndexMade(stars_per_sq_deg, instead_of):
            damaged = f"; {instead_of} was damaged" if instead_of else ""
            return LEARNING, f"{stars_per_sq_deg:g} stars per square degree (once){damaged}"
        case PatchesSearched():
            return "Searching the expected part of the sky", ""
        case FieldsTried(width_deg):
            return "Trying every scale", f"fields {width_deg:.1f} degrees wide"
        case _:
            assert_never(work)
