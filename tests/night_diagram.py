"""The diagram of the night, drawn from the table itself (Mermaid text)."""

from __future__ import annotations

from polewright.core.night.states import Stage
from polewright.core.night.table import OVERLAYS, TRANSITIONS


def mermaid_text() -> str:
    """A Mermaid state diagram of the stages and of what may lie over them."""
    lines = ["stateDiagram-v2", f"    [*] --> {Stage.ORIENTATION.name}: NightStarted"]
    lines += [f'    state "{stage.value}" as {stage.name}' for stage in Stage]
    for source in Stage:
        for target in Stage:
            labels = [
                row.event.__name__ + (f" [{row.guard_name}]" if row.guard_name else "")
                for row in TRANSITIONS
                if row.stage is source and row.to is target
            ]
            if labels:
                lines.append(f"    {source.name} --> {target.name}: {', '.join(labels)}")
    for row in OVERLAYS:
        note = "on" if row.on else "off"
        lines.append(f"    %% over every stage: {row.event.__name__} switches '{row.overlay}' {note}")
    lines.append("    %% over every stage: UndoAsked takes the last click back")
    return "\n".join(lines) + "\n"
