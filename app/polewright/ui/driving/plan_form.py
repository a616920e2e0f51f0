"""The form of tonight's plan: raw text in, a plan or a plain sentence out. Pure."""

from __future__ import annotations

import re
from dataclasses import replace

from polewright.core.errors import UsageError
from polewright.core.plan.sky_objects import SKY_OBJECTS, sky_object
from polewright.core.plan.tonight import TonightsPlan
from polewright.ui.driving.form import angle_of, number_of, number_text
from polewright.ui.intents import FillPlan
from polewright.words import forms

SENSOR = re.compile(r"\s*(\d{2,6})\s*[xX×*, ]\s*(\d{2,6})\s*")


def text_of(plan: TonightsPlan) -> FillPlan:
    """The form filled from a plan."""
    return FillPlan(
        target=plan.target,
        declination=number_text(plan.declination_deg, 2),
        focal_length=number_text(plan.focal_length_mm, 1),
        pixel_size=number_text(plan.pixel_um, 3),
        sensor=f"{plan.width_px} × {plan.height_px}",
        binning=str(plan.binning),
        exposure=number_text(plan.sub_s, 3),
        hours=number_text(plan.hours, 2),
        first_hour_angle="" if plan.first_hour_angle_h is None else number_text(plan.first_hour_angle_h, 2),
        guide_offset=number_text(plan.guide_offset_deg, 2),
        seeing=number_text(plan.seeing_arcsec, 2),
        allowed_blur=number_text(plan.allowed_blur_px, 2),
        guided=plan.guided,
    )


def filled(before: FillPlan, after: FillPlan) -> FillPlan:
    """What the person typed, made whole: a listed target brings its declination, another declination drops it."""
    name = listed(after.target)
    if name and after.target != before.target:
        return replace(after, target=name, declination=number_text(SKY_OBJECTS[name][1].dec_deg, 2))
    if name and after.declination != before.declination:
        return replace(after, target="")
    return after


def listed(target: str) -> str:
    """The name in the list that was meant; "" when it is none."""
    try:
        place = sky_object(target)
    except UsageError:
        return ""
    return next(name for name, (_, found) in SKY_OBJECTS.items() if found is place)


def plan_of(form: FillPlan) -> TonightsPlan | str:
    """The plan, or what is wrong with the form."""
    declination = angle_of(form.declination, "NS", 90.0)
    if form.target and not listed(form.target) and declination is None:
        return forms.not_listed(form.target)
    if declination is None:
        return forms.DECLINATION
    sensor = SENSOR.fullmatch(form.sensor)
    if sensor is None:
        return forms.SENSOR
    numbers: dict[str, float] = {}
    for member, name, text, low, high, unit in (
        ("focal_length_mm", "focal length", form.focal_length, 3.0, 50000.0, "mm"),
        ("pixel_um", "pixel size", form.pixel_size, 0.3, 100.0, "µm"),
        ("binning", "binning", form.binning, 1.0, 8.0, "pixels"),
        ("sub_s", "sub-exposure", form.exposure, 0.001, 43200.0, "s"),
        ("hours", "total time", form.hours, 0.01, 16.0, "h"),
        ("guide_offset_deg", "distance of the guide star", form.guide_offset, 0.0, 60.0, "degrees"),
        ("seeing_arcsec", "seeing", form.seeing, 0.1, 60.0, "arcsec"),
        ("allowed_blur_px", "allowed blur", form.allowed_blur, 0.01, 100.0, "pixels"),
    ):
        value = number_of(text, low, high)
        if value is None:
            return forms.limits(name, low, high, unit)
        numbers[member] = value
    first = number_of(form.first_hour_angle, -12.0, 12.0) if form.first_hour_angle.strip() else None
    if form.first_hour_angle.strip() and first is None:
        return forms.FIRST_HOUR
    binning = round(numbers.pop("binning"))
    try:
        return TonightsPlan(
            declination,
            width_px=int(sensor[1]),
            height_px=int(sensor[2]),
            binning=binning,
            target=form.target.strip(),
            first_hour_angle_h=first,
            guided=form.guided,
            **numbers,
        )
    except UsageError as error:
        return str(error)
