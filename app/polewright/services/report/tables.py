"""All measurements of a night as CSV (RFC 4180): one row a reading of the axis."""

from __future__ import annotations

import csv
import io
import math

from polewright.core.angles import ARCMIN_PER_RAD
from polewright.core.sky.timescales import iso_text
from polewright.services.report.facts import NightFacts

COLUMNS = (
    "t_s",
    "utc",
    "stage",
    "source",
    "frame",
    "east_arcmin",
    "up_arcmin",
    "total_arcmin",
    "sigma_east_arcmin",
    "sigma_up_arcmin",
    "covariance_east_up_arcmin2",
    "ra_deg",
    "dec_deg",
    "stars_matched",
    "rms_arcsec",
)


def measurements_csv(facts: NightFacts) -> str:
    """The readings in order, numbers with all the digits that mean something."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for r in facts.readings:
        (ee, eu), (_, uu) = r.offset.covariance_rad2
        frame = r.frame
        writer.writerow(
            [
                f"{r.t_s:.3f}",
                iso_text(r.utc),
                r.stage,
                r.source,
                frame.name if frame else "",
                f"{r.offset.east_rad * ARCMIN_PER_RAD:.5f}",
                f"{r.offset.up_rad * ARCMIN_PER_RAD:.5f}",
                f"{r.offset.total_rad * ARCMIN_PER_RAD:.5f}",
                f"{math.sqrt(max(ee, 0.0)) * ARCMIN_PER_RAD:.5f}",
                f"{math.sqrt(max(uu, 0.0)) * ARCMIN_PER_RAD:.5f}",
                f"{eu * ARCMIN_PER_RAD**2:.3e}",
                f"{frame.centre.ra_deg:.5f}" if frame else "",
                f"{frame.centre.dec_deg:.5f}" if frame else "",
                frame.stars_matched if frame else "",
                f"{frame.rms_arcsec:.3f}" if frame else "",
            ]
        )
    return stream.getvalue()
