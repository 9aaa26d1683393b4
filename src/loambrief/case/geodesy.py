"""Area and plane positions of shapes given in longitude and latitude (WGS 84).

Areas come from the cylindrical equal-area projection of the ellipsoid, which keeps areas
exactly; sides are straight on that projection, which for the size of a field parts from the
straight line in longitude and latitude that RFC 7946 means by millimetres. Source: Snyder,
J. P. (1987). Map projections: a working manual. U.S. Geological Survey Professional Paper
1395, equations 3-12 and 10-18 to 10-20 (from memory, unverified; checked against the geodesic
areas of PROJ).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

SEMI_MAJOR_M = 6_378_137.0
"""WGS 84 (NIMA TR8350.2)."""
FLATTENING = 1 / 298.257_223_563
ECCENTRICITY_2 = FLATTENING * (2 - FLATTENING)
M2_PER_ACRE = 4_046.856_422_4
"""International acre."""

Position = tuple[float, float]
"""Longitude and latitude [degrees]."""


def authalic(latitude_deg: float) -> float:
    """Snyder's q: area of the ellipsoid from the equator to a latitude, as a plain number.

    Parameters
    ----------
    latitude_deg : float
        Geodetic latitude [degrees], -90 to 90.

    Returns
    -------
    float
        q [1]; the area of a belt is pi a² (q2 - q1).
    """
    sine = math.sin(math.radians(latitude_deg))
    e = math.sqrt(ECCENTRICITY_2)
    return (1 - ECCENTRICITY_2) * (
        sine / (1 - ECCENTRICITY_2 * sine * sine)
        - math.log((1 - e * sine) / (1 + e * sine)) / (2 * e))


def ring_area_m2(ring: Sequence[Position]) -> float:
    """Area inside a closed ring.

    Parameters
    ----------
    ring : sequence of (longitude, latitude)
        [degrees]; first and last position are the same. Not across the antimeridian, not over
        a pole.

    Returns
    -------
    float
        Area [m²], positive whatever the direction of the ring; 0 for a line.
    """
    lon0, lat0 = ring[0]
    base = authalic(lat0)
    # relative to the first corner: no digits are lost on a field of a few metres
    flat = [(math.radians(lon - lon0), (authalic(lat) - base) / 2) for lon, lat in ring]
    twice = sum(x1 * y2 - x2 * y1
                for (x1, y1), (x2, y2) in pairwise(flat))
    return abs(twice) / 2 * SEMI_MAJOR_M**2


def plane_m(position: Position, origin: Position) -> tuple[float, float]:
    """East and north of an origin, for drawing.

    Parameters
    ----------
    position, origin : (longitude, latitude)
        [degrees], at most some tens of kilometres apart.

    Returns
    -------
    (float, float)
        East and north [m], by the radii of curvature at the origin.
    """
    lat = math.radians(origin[1])
    w2 = 1 - ECCENTRICITY_2 * math.sin(lat) ** 2
    across = SEMI_MAJOR_M / math.sqrt(w2) * math.cos(lat)
    along = SEMI_MAJOR_M * (1 - ECCENTRICITY_2) / w2**1.5
    return (math.radians(position[0] - origin[0]) * across,
            math.radians(position[1] - origin[1]) * along)
