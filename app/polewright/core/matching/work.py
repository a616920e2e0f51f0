"""Work of the solver that takes a while, as values: what a person is told about it says words/work.py."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class IndexMade:
    """The layer of so many stars is made, once; `instead_of` names the damaged file whose place it takes."""

    stars_per_sq_deg: float
    instead_of: str = ""


@dataclass(frozen=True)
class PatchesSearched:
    """The part of the sky that a hint names is searched patch by patch."""


@dataclass(frozen=True)
class FieldsTried:
    """The scale is unknown: fields of this width are tried."""

    width_deg: float


SolverWork = IndexMade | PatchesSearched | FieldsTried
