"""One solver for all tests of a process, its index kept in the home of the test run."""

from __future__ import annotations

from functools import cache

from polewright.core.sky.catalogue import Catalogue
from polewright.services.catalogue import load_catalogue
from polewright.services.paths import cache_folder
from polewright.services.solver import Solver


@cache
def shared_catalogue() -> Catalogue:
    """The program's own catalogue."""
    return load_catalogue()


@cache
def shared_solver(search_other_scales: bool = True) -> Solver:
    """A solver with the program's own catalogue; `search_other_scales` as in Solver."""
    return Solver(shared_catalogue(), cache_folder(), search_other_scales)
