"""The one instruction."""

from __future__ import annotations

from polewright.core.night.advice import Advice, Wait
from polewright.core.night.rest import SETTLE_S
from polewright.ui.view_model import Instruction

OTHER_SIDE = "D takes the other side of the meridian."
SKIP_THE_REST = "H skips this."


def instruction(advice: Advice) -> Instruction:
    """What the coach says, as the window shows it; its sentences are short enough to be read from afar."""
    return Instruction(
        advice.instruction,
        advice.reason,
        _with_keys(advice),
        advice.instruction,
        advice.mood,
        _waited(advice),
    )


def _with_keys(advice: Advice) -> str:
    """The gain, and the key that helps where the instruction may not suit: the coach knows no keys."""
    key = ""
    if advice.key == "drift:watch":
        key = OTHER_SIDE
    elif advice.key.startswith("drift:point:altitude"):
        key = f"No free sky there? {OTHER_SIDE}"
    elif advice.key == "drift:settle":
        key = SKIP_THE_REST
    return f"{advice.expected_gain} {key}".strip()


def _waited(advice: Advice) -> float | None:
    """How much of a wait of known length is over, 0 to 1."""
    if not isinstance(advice.action, Wait) or advice.action.seconds is None:
        return None
    return min(1.0, max(0.0, 1.0 - advice.action.seconds / (advice.action.of_s or SETTLE_S)))
