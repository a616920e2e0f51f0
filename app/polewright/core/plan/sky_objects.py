"""A short list of well-known targets, for plans: a place good to a tenth of a degree, no more.

J2000 positions of Messier, NGC and IC objects, rounded to 0.1 degree; a plan needs no better. All were checked
against the OpenNGC database (package PyOngc 1.2.2): within 0.08 degrees of it, of its kind, in its constellation.
"""

from __future__ import annotations

from collections.abc import Mapping

from polewright.core.errors import UsageError
from polewright.core.model import SkyPosition

SKY_OBJECTS: Mapping[str, tuple[str, SkyPosition]] = {
    key: (name, SkyPosition(ra, dec))
    for key, name, ra, dec in (
        ("M1", "supernova remnant in Taurus", 83.6, 22.0),
        ("M8", "nebula in Sagittarius", 270.9, -24.4),
        ("M13", "globular cluster in Hercules", 250.4, 36.5),
        ("M16", "nebula in Serpens", 274.7, -13.8),
        ("M17", "nebula in Sagittarius", 275.2, -16.2),
        ("M20", "nebula in Sagittarius", 270.7, -23.0),
        ("M22", "globular cluster in Sagittarius", 279.1, -23.9),
        ("M27", "planetary nebula in Vulpecula", 299.9, 22.7),
        ("M31", "galaxy in Andromeda", 10.7, 41.3),
        ("M33", "galaxy in Triangulum", 23.5, 30.7),
        ("M42", "nebula in Orion", 83.8, -5.4),
        ("M45", "open cluster in Taurus", 56.9, 24.1),
        ("M51", "galaxy in Canes Venatici", 202.5, 47.2),
        ("M57", "planetary nebula in Lyra", 283.4, 33.0),
        ("M63", "galaxy in Canes Venatici", 199.0, 42.0),
        ("M64", "galaxy in Coma Berenices", 194.2, 21.7),
        ("M66", "galaxy in Leo", 170.1, 13.0),
        ("M78", "nebula in Orion", 86.7, 0.1),
        ("M81", "galaxy in Ursa Major", 148.9, 69.1),
        ("M101", "galaxy in Ursa Major", 210.8, 54.3),
        ("M104", "galaxy in Virgo", 190.0, -11.6),
        ("M106", "galaxy in Canes Venatici", 184.7, 47.3),
        ("NGC 104", "globular cluster in Tucana", 6.0, -72.1),
        ("NGC 253", "galaxy in Sculptor", 11.9, -25.3),
        ("NGC 281", "nebula in Cassiopeia", 13.2, 56.6),
        ("NGC 869", "open cluster in Perseus", 34.7, 57.1),
        ("NGC 891", "galaxy in Andromeda", 35.6, 42.3),
        ("NGC 1499", "nebula in Perseus", 60.8, 36.4),
        ("NGC 2244", "cluster and nebula in Monoceros", 98.0, 4.9),
        ("NGC 3372", "nebula in Carina", 161.3, -59.9),
        ("NGC 4565", "galaxy in Coma Berenices", 189.1, 26.0),
        ("NGC 5128", "galaxy in Centaurus", 201.4, -43.0),
        ("NGC 5139", "globular cluster in Centaurus", 201.7, -47.5),
        ("NGC 6888", "nebula in Cygnus", 303.0, 38.4),
        ("NGC 6960", "supernova remnant in Cygnus", 311.5, 30.6),
        ("NGC 7000", "nebula in Cygnus", 314.8, 44.5),
        ("NGC 7293", "planetary nebula in Aquarius", 337.4, -20.8),
        ("NGC 7635", "nebula in Cassiopeia", 350.2, 61.2),
        ("IC 434", "nebula in Orion", 85.3, -2.5),
        ("IC 1396", "nebula in Cepheus", 324.8, 57.5),
        ("LMC", "galaxy in Dorado", 80.9, -69.8),
        ("SMC", "galaxy in Tucana", 13.2, -72.8),
    )
}


def sky_object(name: str) -> SkyPosition:
    """The place of a listed object ("m 42", "NGC7000"); UsageError naming them all when it is not listed."""
    wanted = name.replace(" ", "").upper()
    for key, (_, place) in SKY_OBJECTS.items():
        if key.replace(" ", "") == wanted:
            return place
    raise UsageError(f"'{name}' is not in the list: give its declination, or one of {', '.join(SKY_OBJECTS)}.")
