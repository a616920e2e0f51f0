"""The frozen build leaves out what the program does not call: nothing it calls may be on that list."""

from __future__ import annotations

import ast
import re
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]
SPEC = (REPOSITORY / "packaging" / "polewright.spec").read_text(encoding="utf-8")


def called(library: str) -> set[str]:
    """Parts of a library that the program names: imported, or reached through its name as in `scipy.fft.rfft2`."""
    found: set[str] = set()
    for path in (REPOSITORY / "app").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == library:
                found |= {f"{node.module}.{name.name}" for name in node.names} | {node.module}
            elif isinstance(node, ast.Import):
                found |= {name.name for name in node.names if name.name.startswith(f"{library}.")}
            elif isinstance(node, ast.Attribute) and ast.unparse(node).startswith(f"{library}."):
                found.add(ast.unparse(node))
    return found


def left_out(library: str) -> tuple[str, ...]:
    """Parts of a library that the specification of the build excludes."""
    listed = re.search(rf'\*\(f"{library}\.{{name}}" for name in \((.*?)\)\)', SPEC, re.DOTALL)
    assert listed is not None
    return tuple(f"{library}.{name}" for name in re.findall(r'"([^"]+)"', listed[1]))


def test_nothing_that_is_called_is_left_out_of_the_frozen_build() -> None:
    assert "scipy.fft.rfft2" in called("scipy") or "scipy.fft" in called("scipy"), "the search finds what is called"
    for library in ("scipy", "astropy"):
        parts = left_out(library)
        assert len(parts) > 8
        wrong = [name for name in called(library) for part in parts if f"{name}.".startswith(f"{part}.")]
        assert not wrong, f"{wrong}: take them off the list of packaging/polewright.spec"
