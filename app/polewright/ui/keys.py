"""The window's own keys, and the list of all keys that hold on a page. Pure: no Qt."""

from __future__ import annotations

from dataclasses import replace

from polewright.ui.intents import OfTheWindow
from polewright.ui.settings import WindowSettings
from polewright.ui.theme import Light
from polewright.ui.view_model import Action, Page, View, Weight
from polewright.words.window import CLOCKS_AGREE, NOTHING_TO_CONFIRM

# Every key that is written down elsewhere, once. F1, F11, Ctrl+Q, Ctrl+O, Ctrl+W and Ctrl+Z are the platforms' own.
HELP, FULL_SCREEN, QUIT = "F1", "F11", "Ctrl+Q"
RED_LIGHT = "F9"  # on every page: a letter would go into the fields of the forms
KNOWN_SITES, KNOWN_RIGS = "Ctrl+1", "Ctrl+2"
TARGETS, GUIDED, BEST_POLE = "Ctrl+T", "Ctrl+G", "Ctrl+B"
PLOTS = ("Ctrl+1", "Ctrl+2", "Ctrl+3")
CREDITS, WHY = "C", "?"  # on the page of keys; everywhere but where one types

WITHOUT_AN_ACTION = {"Return": NOTHING_TO_CONFIRM, "Ctrl+K": CLOCKS_AGREE}  # keys that sentences and habit ask for
WINDOW_ACTIONS: tuple[Action, ...] = (
    Action("red light", RED_LIGHT, OfTheWindow.RED_LIGHT, Weight.MENU),
    Action("brighter", "+", OfTheWindow.BRIGHTER, Weight.MENU),
    Action("dimmer", "-", OfTheWindow.DIMMER, Weight.MENU),
    Action("reading mode", "R", OfTheWindow.READING, Weight.MENU),
    Action("full screen", FULL_SCREEN, OfTheWindow.FULL_SCREEN, Weight.MENU),
    Action("sound", "S", OfTheWindow.SOUND, Weight.MENU),
    Action("voice", "V", OfTheWindow.SPEECH, Weight.MENU),
    Action("the guide", WHY, OfTheWindow.WHY, Weight.MENU),
    Action("all keys", "K", OfTheWindow.KEYS, Weight.MENU),
    Action("close", QUIT, OfTheWindow.QUIT, Weight.MENU),
)
ON_THE_BAR = (RED_LIGHT, "R", WHY, FULL_SCREEN, "S", "V", "K")
BRIGHTNESS = (OfTheWindow.BRIGHTER, OfTheWindow.DIMMER)  # of red light: daylight has one
REHEARSAL_KEYS = (
    ("← →", "turn the azimuth screw"),
    ("↑ ↓", "turn the altitude screw"),
    ("PgUp PgDn", "rotate the RA axis east or west"),
    ("Shift", "with these: a quarter of the step"),
)
REPLAY_KEYS = (
    ("Space", "play or pause"),
    ("← →", "ten seconds back or on"),
    (", .", "one event back or on"),
    ("↑ ↓", "faster or slower"),
    ("T", "take over, or just watch"),
)
FORM_KEYS = (
    ("Tab", "next field"),
    ("Ctrl+Return", "begin the night"),
    ("Ctrl+P", "rehearse"),
    ("Ctrl+L", "earlier nights"),
    ("Ctrl+O", "choose the folder"),
    (KNOWN_SITES, "a site of an earlier night"),
    (KNOWN_RIGS, "a rig of an earlier night"),
)

MENDING_KEYS = (FORM_KEYS[0], ("Ctrl+Return", "go on with these"), ("Escape", "back to the mount"), *FORM_KEYS[4:])
FORM_WINDOW_KEYS = ((RED_LIGHT, "red light"), (FULL_SCREEN, "full screen"), (HELP, "all keys"), (QUIT, "close"))
PLAN_KEYS = (
    ("Ctrl+Return", "use this plan"),
    ("Escape", "back to the mount"),
    ("Tab", "next field"),
    (TARGETS, "list of targets"),
    (GUIDED, "guided or not"),
    (PLOTS[0], "blur by exposure"),
    (PLOTS[1], "blur by error"),
    (PLOTS[2], "blur by declination"),
    (BEST_POLE, "aim at the best pole"),
)


def plan_keys() -> tuple[tuple[str, str], ...]:
    """Every key that does something on the page of the plan."""
    return (*PLAN_KEYS, *FORM_WINDOW_KEYS)


def action_for_key(actions: tuple[Action, ...], key: str) -> Action | None:
    """The page's own action of that key first, then the window's."""
    return next((a for a in (*actions, *WINDOW_ACTIONS) if a.key == key), None)


def escape_once(view: View) -> View:
    """While Escape puts a notice away or stops work, no button shows it: one thing a key."""
    if view.trouble is None and (view.work is None or not view.work.can_cancel):
        return view
    return replace(view, actions=tuple(replace(a, key="") if a.key == "Escape" else a for a in view.actions))


def bar_keys(view: View, settings: WindowSettings) -> tuple[tuple[str, str], ...]:
    """What the line at the bottom says, the most wanted first. On the first page letters go into the fields."""
    red = settings.light is Light.RED
    extra: tuple[tuple[str, str], ...] = ()
    if view.work is not None and view.work.can_cancel and view.trouble is None:
        extra = (("Escape", "stop this work"),)
    if view.page is Page.FIRST_RUN:
        form: tuple[tuple[str, str], ...] = MENDING_KEYS if view.form.mending else FORM_KEYS
        form = tuple(pair for pair in form if not extra or pair[0] != "Escape")  # one thing a key
        return (*extra, *form[:4], (FULL_SCREEN, "full screen"), (RED_LIGHT, "daylight" if red else "red light"))
    on = {"S": settings.sound, "V": settings.speech}
    own = [(a.key, f"no {a.label}" if on.get(a.key) else a.label) for a in WINDOW_ACTIONS if a.key in ON_THE_BAR]
    if red:
        own[0] = (RED_LIGHT, "daylight")
        own.insert(1, ("+ -", "brightness"))
    if view.rehearsal is not None:
        extra += REHEARSAL_KEYS[:3]
    elif view.replay is not None:
        extra += REPLAY_KEYS[:4]
    return (*extra, *own)


def all_keys(view: View, red: bool = False) -> tuple[tuple[str, str], ...]:
    """Every key that does something now, or says why not."""
    if view.page is Page.FIRST_RUN:
        return (*(MENDING_KEYS if view.form.mending else FORM_KEYS), *FORM_WINDOW_KEYS)
    pairs = [
        (a.key, a.label[0].lower() + a.label[1:] if a.label[1:2].islower() else a.label)
        for a in view.actions
        if a.key
    ]
    if view.rehearsal is not None:
        pairs += REHEARSAL_KEYS
    if view.replay is not None:
        pairs += REPLAY_KEYS
    pairs += [(a.key, a.label) for a in WINDOW_ACTIONS if red or a.intent not in BRIGHTNESS]
    pairs = [*_escape(view), *pairs]
    return (*pairs, ("M", "menu"), ("Tab", "next button"))


def _escape(view: View) -> list[tuple[str, str]]:
    """What Escape does beside leaving a page, once the page of keys is left."""
    if view.trouble is not None:
        return [("Escape", "put the notice away")]
    return [("Escape", "stop this work")] if view.work is not None and view.work.can_cancel else []
