"""Area and plane positions of shapes given in longitude and latitude (WGS 84)."""

import math
from collections.abc import Sequence

from geographiclib.geodesic import Geodesic  # type: ignore[import-untyped]

Position = tuple[float, float]
"""Longitude and latitude [degrees]."""


def ring_area_m2(ring: Sequence[Position]) -> float:
    """Area inside a closed ring whose sides are geodesics.

    Parameters
    ----------
    ring : sequence of (longitude, latitude)
        [degrees]; first and last position are the same. Not over a pole.

    Returns
    -------
    float
        Area [m²], positive whatever the direction of the ring; 0 for a line.

    Notes
    -----
    RFC 7946 (section 3.1.1) has sides straight in longitude and latitude. A side of the length
    L along a parallel encloses with its geodesic L³ tan(latitude) / 12 R, other sides less: at
    latitude 45, 13 m² for a side of 1 km and 0.01 m² for one of 100 m. The geodesic itself is
    Karney's (2013, J. Geodesy 87:43-55), exact to about 0.1 m² on a whole continent.
    """
    polygon = Geodesic.WGS84.Polygon()
    for longitude, latitude in ring[:-1]:
        polygon.AddPoint(latitude, longitude)
    _, _, area = polygon.Compute(sign=True)
    return abs(area)


def plane_m(position: Position, origin: Position) -> tuple[float, float]:
    """East and north of an origin, for drawing: distance and bearing from there are kept.

    Parameters
    ----------
    position, origin : (longitude, latitude)
        [degrees].

    Returns
    -------
    (float, float)
        East and north [m].
    """
    line = Geodesic.WGS84.Inverse(origin[1], origin[0], position[1], position[0])
    bearing = math.radians(line["azi1"])
    return line["s12"] * math.sin(bearing), line["s12"] * math.cos(bearing)
