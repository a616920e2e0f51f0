"""What is said in the reading mode beside the sentence: for a glance from two metres. Pure: no Qt."""

from __future__ import annotations

from dataclasses import dataclass

from polewright.ui.view_model import Action, View, Weight
from polewright.words.window import last_reading


@dataclass(frozen=True)
class Glance:
    """How far off the axis is, the one warning that matters, and the key that says that it is done; "" for none."""

    total: str = ""
    warning: str = ""
    key: str = ""
    key_does: str = ""


def glance(view: View) -> Glance:
    """Trouble before a stale reading, a stale reading before the caution of the instruction."""
    total, action = view.total, _first_key(view.actions)
    told = "" if total is None else f"{total.value} off, {total.words}"
    trouble = "" if view.trouble is None else view.trouble.cause
    stale = last_reading(view.reticle.stale_text) if view.reticle.stale_text else ""
    warning = trouble or stale or view.instruction.caution
    return Glance(told, warning, *(("", "") if action is None else (action.key, action.label)))


def _first_key(actions: tuple[Action, ...]) -> Action | None:
    """The one to press; of several answers of which none is advised, none."""
    loud = [a for a in actions if a.weight is Weight.PRIMARY and a.enabled and a.key]
    return loud[0] if loud and (len(loud) == 1 or loud[0].key == "Return") else None
