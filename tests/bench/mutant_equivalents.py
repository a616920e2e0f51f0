"""Faults that survive because nobody can notice them, by file and text, with the reason."""

# ruff: noqa: E501 (the text of a fault is one line)

from __future__ import annotations

EQUIVALENT: dict[tuple[str, str], str] = {
    (
        "services/folder_poller.py",
        "sign dropped in `return (-1, 0)`",
    ): "a file of one byte, which is no frame, or of a size of its own",
    (
        "runtime/retrace.py",
        "1 by one in `after = checkpoint.seq if checkpoint is not None and take_up(course, checkpoint.state) els`",
    ): "lines are counted from 0",
    ("runtime/retrace.py", "dropped `left_out += line.kind == EVENT_KIND`"): "counted for a line of the log only",
    (
        "services/log_format.py",
        "comparison turned round in `if value.dtype.kind == 'f' and np.isfinite(value).all():`",
    ): "the quick way and the long one write the same",
    (
        "core/plan/tolerance.py",
        "0.01 by half in `SHORTEST_S, LONGEST_S = (0.01, 6.0 * 3600.0)`",
    ): "where a search begins; no sub-exposure is so short",
    (
        "core/screws/posterior.py",
        "Sub changed in `weight = np.exp(log_weight - np.max(log_weight))`",
    ): "a factor of all weights, which are divided by their sum; 60 moves do not overflow",
    (
        "core/night/watch/actions.py",
        "1e-12 by half in `toward = np.array([east, up]) @ east_and_up(pole, site) / max(size, 1e-12)`",
    ): "keeps nothing from being divided by nothing",
    (
        "core/axis/suspects.py",
        "0.2 by half in `low, high = (1e-07, 0.2)`",
    ): "where a search ends; no mount scatters by degrees",
    (
        "core/axis/accuracy.py",
        "1e-09 by half in `steps = np.arange(ADVICE_STEP_RAD, LARGEST_ADVICE_RAD + 1e-09, ADVICE_STEP_RAD)`",
    ): "keeps the last step of a range, whatever its size",
    (
        "words/coach.py",
        "'up' turned round in `for value, variance, side in ((reading.east_rad, ee, 'east'), (reading.up_rad, uu, 'up')):`",
    ): "only whether it says east is asked",
    (
        "core/axis/following.py",
        "Sub changed in `middle, half = (0.5 * (on.turn_rad + off.turn_rad), 0.5 * abs(on.turn_rad - off.turn_rad))`",
    ): "an axis that stands still turns by 0: on + off is on - off",
}
