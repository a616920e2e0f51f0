"""The first page: what is known about site, optics and folder, and watching the folder for its first frame."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import assert_never

from polewright.core.model import Frame
from polewright.runtime.jobs import Done
from polewright.services.ports import Timer
from polewright.ui import intents as want
from polewright.ui.driving.first_frame import FolderLook, learned, look_into
from polewright.ui.driving.form import Known, form_view, without_air
from polewright.ui.driving.means import Means
from polewright.ui.driving.rig import (
    KnownProfiles,
    from_rig,
    from_site,
    known_profiles,
    knows,
    rig_note,
    site_knows,
    with_names,
)
from polewright.ui.view_model import Action, Instruction, KnownName, Page, Reticle, Trouble, View
from polewright.words import window as words

LOOK_AGAIN_S = 2.0
LOOKING, PROFILES = "looking into the folder", "known sites and rigs"
TO_THE_NIGHT = (Action("Back to the mount", "Escape", want.LeaveForm()),)


class FirstScene:
    """Attributes: `known`, the form as it stands."""

    def __init__(
        self,
        means: Means,
        known: Known,
        changed: Callable[[], None],
        trouble: Trouble | None = None,
        mending: bool = False,
    ) -> None:
        """`mending`: it lies over a night that goes on."""
        self._mending = mending
        self._means = means
        self._changed = changed
        self._trouble = trouble
        self._profiles = KnownProfiles()
        self._problem = ""
        self._note = ""  # what else the folder tells
        self._frame: Frame | None = None  # the latest that could be read in this folder
        self._timer: Timer | None = None
        self._closed = False
        self.known = known
        config = means.config
        means.worker.ask(PROFILES, lambda: known_profiles(config), self._on_profiles)
        self._look()

    def _on_profiles(self, done: Done) -> None:
        self._profiles = done.result()
        self._propose()
        if self._profiles.messages and self._trouble is None:
            self._trouble = Trouble(self._profiles.messages[0], words.AS_IT_WAS)
        self._changed()

    def act(self, intent: want.Intent) -> bool:
        """Take in what was typed; False when the intent is for somebody else."""
        if isinstance(intent, want.OfTheForm):
            self._fill(intent)
        elif isinstance(intent, want.ChooseFolder) and intent.folder is not None:
            self.known = replace(without_air(self.known), folder=str(intent.folder))
            self._problem, self._frame, self._note = "", None, ""
            self._look()
        elif isinstance(intent, want.DismissTrouble):
            self._trouble = None
        else:
            return False
        self._propose()
        self._changed()
        return True

    def notify(self, trouble: Trouble) -> None:
        """Something the person should read."""
        self._trouble = trouble
        self._changed()

    def _propose(self) -> None:
        """Names for site and rig, where the person gave none."""
        self.known = with_names(self.known, self._profiles)

    def _fill(self, intent: want.OfTheForm) -> None:
        match intent:
            case want.FillForm():
                before = self.known.folder
                self.known = self.known.filled(intent)
                if self.known.folder == before and self._frame is not None:
                    self.known = learned(self.known, self._frame)  # what was cleared is the frame's again
                if self.known.folder != before:
                    self._problem, self._frame, self._note = "", None, ""
                    self.known = replace(without_air(self.known), typed=self.known.typed - {"folder"})
                    self._look()
            case want.UseSite():
                self._use_site(intent.name)
            case want.UseRig():
                self._use_rig(intent.name)
            case _:
                assert_never(intent)

    def _use_site(self, name: str) -> None:
        for profile in self._profiles.sites:
            if profile.name == name:
                self.known = from_site(self.known, profile)

    def _use_rig(self, name: str) -> None:
        for profile in self._profiles.rigs:
            if profile.name == name:
                self.known = from_rig(self.known, profile)

    def _look(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        folder = self.known.folder
        if folder and not self._closed:
            self._means.worker.ask(LOOKING, lambda: look_into(folder, self._means.read), self._on_looked)

    def _on_looked(self, done: Done) -> None:
        if self._closed:
            return
        look: FolderLook = done.result()
        self._problem, self._frame, self._note = look.problem, look.frame, look.note
        if look.frame is not None:
            self.known = learned(self.known, look.frame)
            self._propose()
        else:
            self._timer = self._means.scheduler.after(LOOK_AGAIN_S, self._look)
        self._changed()

    def view(self) -> View:
        """The page."""
        view = first_view(self.known, self._problem, self._profiles, self._trouble)
        form = replace(view.form, folder_note=self._note, mending=self._mending)
        return replace(view, form=form, actions=TO_THE_NIGHT if self._mending else ())

    def close(self) -> list[str]:
        """Stop looking."""
        self._closed = True
        self._means.worker.forget(LOOKING)
        self._means.worker.forget(PROFILES)
        if self._timer is not None:
            self._timer.cancel()
        return []


def first_view(
    known: Known,
    problem: str = "",
    profiles: KnownProfiles | None = None,
    trouble: Trouble | None = None,
) -> View:
    """The first page as a view."""
    profiles = profiles or KnownProfiles()
    return View(
        page=Page.FIRST_RUN,
        rail=(),
        instruction=Instruction(words.FILL_IN),
        reticle=Reticle(2.0, ""),
        form=replace(
            form_view(known, problem),
            sites=tuple(KnownName(site.name, site_knows(site)) for site in profiles.sites),
            rigs=tuple(KnownName(rig.name, knows(rig)) for rig in profiles.rigs),
            rig_note=rig_note(known, profiles),
        ),
        trouble=trouble,
    )
