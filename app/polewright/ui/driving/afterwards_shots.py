"""Pictures of what a recorded night is good for: its line in the list, its report, a question of the take-over."""

from __future__ import annotations

from pathlib import Path

from polewright.core.night.states import NightState
from polewright.services.report.night_line import night_line
from polewright.ui.driving.nights_scene import page_of
from polewright.ui.driving.recorded_frame import recorded_picture
from polewright.ui.driving.replay_track import ReplayTrack, load_track
from polewright.ui.presenting.extras import Extras, FrameNews
from polewright.ui.presenting.nights import nights_view
from polewright.ui.presenting.replay import Lesson, replay_view
from polewright.ui.view_model import FramePicture, View

SPEED = 10.0  # times that of the night, on the picture (chosen)


def afterwards(night: Path) -> dict[str, View]:
    """By the names of their pictures; without a question where no screw was turned."""
    line = (night_line(night),)
    return {
        "9-nights": nights_view(line, 0, False, None, None, None),
        "9-report": nights_view(line, 0, False, page_of(night), None, None),
        **_question(night),
    }


def _question(night: Path) -> dict[str, View]:
    track = load_track(night)
    if not track.questions:
        return {}
    asked = track.questions[0]
    moment = track.moments[track.index_at(asked.t_s)]
    state, name = moment.state, f"Recorded night {night.name}"
    news = FrameNews(0, state.last_frame_s or 0.0, _picture(track, state))
    extras = Extras(state.now_s, name, news, history=track.history, position_s=asked.t_s)
    transport = (asked.t_s, track.length_s, SPEED, False, True)
    return {"9-take-over": replay_view(state, moment.advice, extras, transport, Lesson(asked.decision))}


def _picture(track: ReplayTrack, state: NightState) -> FramePicture | None:
    frame = state.last_frame
    if frame is None:
        return None
    return recorded_picture(frame.name, track.frames[frame.name], track.folder, track.folder.parent)
