"""Faults that only turn a direction round: `tests/bench/mutants.py directions` makes each, and each has to be noticed.

Every row says which file, what stands there and what would stand there. A row whose text is gone counts as a survivor:
look for where the direction is decided now.
"""

# ruff: noqa: E501 (a row is read across)

from __future__ import annotations

TESTS = ("tests/unit/test_directions.py", "tests/screens/test_drawn_directions.py")

# (file below app/polewright, what stands there, what the fault makes of it)
ROWS: tuple[tuple[str, str, str], ...] = (
    ("ui/strips.py", "sign = 1.0 if strip.sense is Sense.CLOCKWISE else -1.0", "sign = -1.0 if strip.sense is Sense.CLOCKWISE else 1.0"),
    ("ui/strips.py", "painter.drawPie(box, 90 * 16, round(-sweep_deg * 16))", "painter.drawPie(box, 90 * 16, round(sweep_deg * 16))"),
    ("ui/strips.py", "* (-1.0 if self.southern else 1.0)", "* (1.0 if self.southern else -1.0)"),
    ("ui/strips.py", "track.center().x() + fraction * track.width() / 2", "track.center().x() - fraction * track.width() / 2"),
    ("ui/strips.py", "track.center().y() - fraction * track.height() / 2", "track.center().y() + fraction * track.height() / 2"),
    ("ui/drawing.py", "centre.x() + radius * sin(a), centre.y() - radius * cos(a))\n\n\ndef", "centre.x() - radius * sin(a), centre.y() - radius * cos(a))\n\n\ndef"),
    ("ui/drawing.py", "round(-(sweep_deg - sign * head_deg * 0.8) * 16)", "round((sweep_deg - sign * head_deg * 0.8) * 16)"),
    ("ui/reticle_paint.py", 'left, right = ("east", "west") if canvas.southern', 'left, right = ("west", "east") if canvas.southern'),
    ("ui/reticle_paint.py", 'else ("west", "east")', 'else ("east", "west")'),
    ("ui/reticle_paint.py", '"high": QRectF(c.x() - wide / 2, c.y() - r - high - look.px(2), wide, high)', '"low": QRectF(c.x() - wide / 2, c.y() - r - high - look.px(2), wide, high)'),
    ("ui/reticle_paint.py", "x = -toward_east if self.southern else toward_east", "x = toward_east if self.southern else -toward_east"),
    ("ui/reticle_paint.py", "self.centre.y() - toward_up", "self.centre.y() + toward_up"),
    ("ui/well_scale.py", "up_arcmin + a * sin(turn) + b * cos(turn)", "up_arcmin - a * sin(turn) + b * cos(turn)"),
    ("ui/capture_dial.py", "sense = 1.0 if self.capture is not None and self.capture.southern else -1.0", "sense = -1.0 if self.capture is not None and self.capture.southern else 1.0"),
    ("ui/capture_dial.py", "sweep = -(self._clock(b) - self._clock(a))", "sweep = self._clock(b) - self._clock(a)"),
    ("ui/presenting/capture.py", "southern=southern == west", "southern=southern != west"),
    ("ui/presenting/capture.py", "side = -1.0 if plan.southern else 1.0", "side = 1.0"),
    ("ui/presenting/capture.py", "return math.degrees(-side * math.atan2", "return math.degrees(side * math.atan2"),
    ("ui/stand_dials.py", "clock = 90.0 - o.inclination_deg", "clock = o.inclination_deg"),
    ("ui/stand_dials.py", "self._draw_true_north(painter, centre, radius, -declination)", "self._draw_true_north(painter, centre, radius, declination)"),
    ("ui/presenting/stand.py", 'side = "true" if told.magnetic_deg is None else "magnetic"', 'side = "magnetic" if told.magnetic_deg is None else "true"'),
    ("ui/presenting/stand.py", 'side = "east" if magnetic.declination_deg >= 0.0 else "west"', 'side = "west" if magnetic.declination_deg >= 0.0 else "east"'),
    ("ui/presenting/stand.py", "'south' if plan.southern else 'north'", "'north' if plan.southern else 'south'"),
    ("core/night/orientation/standing.py", "true_deg - magnetic_declination_deg", "true_deg + magnetic_declination_deg"),
    ("words/coach.py", "'west' if west_deg > 0.0 else 'east'}.\"", "'east' if west_deg > 0.0 else 'west'}.\""),
    ("words/coach.py", '"south" if southern else "north"', '"north" if southern else "south"'),
    ("words/coach.py", "'west' if hour_angle_h > 0.0 else 'east'} of meridian", "'east' if hour_angle_h > 0.0 else 'west'} of meridian"),
    ("words/plan.py", "'east' if hour_angle_h < 0.0 else 'west'", "'west' if hour_angle_h < 0.0 else 'east'"),
    ("commands/drift.py", "'west' if hour_angle_h > 0.0 else 'east'} of the", "'east' if hour_angle_h > 0.0 else 'west'} of the"),
    ("ui/presenting/drift.py", "'west' if hour_angle_h > 0.0 else 'east'} of the", "'east' if hour_angle_h > 0.0 else 'west'} of the"),
    ("practice/deeds.py", "'west' if hour_angle_h > 0.0 else 'east'} of the", "'east' if hour_angle_h > 0.0 else 'west'} of the"),
    ("practice/deeds.py", "'west' if west_deg > 0.0 else 'east'", "'east' if west_deg > 0.0 else 'west'"),
    ("words/numbers.py", '"east": ("too far east", "too far west"', '"east": ("too far west", "too far east"'),
    ("words/numbers.py", '"up": ("too high", "too low"', '"up": ("too low", "too high"'),
    ("words/numbers.py", 'return "clockwise" if turns >= 0.0', 'return "clockwise" if turns < 0.0'),
    ("words/numbers.py", "int(hours if turns >= 0.0 else 12 - hours)", "int(hours if turns < 0.0 else 12 - hours)"),
    ("words/screws.py", "'up' if up < 0.0 else 'down'", "'down' if up < 0.0 else 'up'"),
    ("words/screws.py", '"west" if east < 0.0 else "east"', '"east" if east < 0.0 else "west"'),
    ("ui/presenting/correction.py", "Sense.CLOCKWISE if turns >= 0.0 else Sense.ANTICLOCKWISE", "Sense.ANTICLOCKWISE if turns >= 0.0 else Sense.CLOCKWISE"),
    ("ui/presenting/correction.py", "signed_turns=math.copysign(abs(turns), outlook.left_rad)", "signed_turns=-math.copysign(abs(turns), outlook.left_rad)"),
    ("ui/presenting/correction.py", "bearing = here.bearing_arcmin + (step", "bearing = here.bearing_arcmin - (step"),
    ("core/screws/angles.py", "bearing = math.atan2(east, forward) * (-1.0 if southern else 1.0)", "bearing = math.atan2(east, forward)"),
    ("core/screws/angles.py", "bearing = angles.bearing_arcmin / ARCMIN_PER_RAD * (-1.0 if southern else 1.0)", "bearing = angles.bearing_arcmin / ARCMIN_PER_RAD"),
    ("core/night/turning/room.py", "return -side * math.atan2(sine, cosine)", "return side * math.atan2(sine, cosine)"),
    ("ui/sound_plan.py", "(low, low * STEP) if sense is Sense.CLOCKWISE", "(low, low * STEP) if sense is not Sense.CLOCKWISE"),
    ("services/report/page.py", '("clockwise", "anticlockwise"), "altitude": ("up", "down")', '("anticlockwise", "clockwise"), "altitude": ("up", "down")'),
    ("services/report/page.py", '"altitude": ("up", "down")', '"altitude": ("down", "up")'),
    ("services/report/page.py", 'offset_words(r.offset.east_rad, east),\n                offset_words(r.offset.up_rad, up, "up")', 'offset_words(-r.offset.east_rad, east),\n                offset_words(r.offset.up_rad, up, "up")'),
    ("services/report/page.py", '"east_arcmin": final.east_rad', '"east_arcmin": final.up_rad'),
    ("services/report/pictures.py", '("west", "east") if not southern else ("east", "west")', '("east", "west") if not southern else ("west", "east")'),
    ("services/report/pictures.py", "(-x if southern else x) * radius, centre - y", "(x if southern else -x) * radius, centre - y"),
    ("services/report/pictures.py", "* radius, centre - y * radius", "* radius, centre + y * radius"),
    ("services/report/tables.py", 'f"{r.offset.east_rad * ARCMIN_PER_RAD:.5f}"', 'f"{r.offset.up_rad * ARCMIN_PER_RAD:.5f}"'),
    ("services/report/history.py", '(east, "further west", "further east")', '(east, "further east", "further west")'),
    ("services/report/history.py", '(up, "lower", "higher")', '(up, "higher", "lower")'),
    ("commands/measure.py", '"azimuth_screw_arcmin": screws.azimuth_rad', '"azimuth_screw_arcmin": -screws.azimuth_rad'),
    ("commands/measure.py", '"east_arcmin": estimate.east_rad', '"east_arcmin": estimate.up_rad'),
    ("commands/simulate.py", "'east' if east >= 0.0 else 'west'", "'west' if east >= 0.0 else 'east'"),
    ("commands/simulate.py", "'high' if up >= 0.0 else 'low'", "'low' if up >= 0.0 else 'high'"),
    ("words/axis.py", '"ahead of" if doubt.ahead_s > 0.0', '"ahead of" if doubt.ahead_s < 0.0'),
    ("words/axis.py", "'on' if on else 'off'", "'off' if on else 'on'"),
)  # fmt: skip
