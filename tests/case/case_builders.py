"""Builders of small cases. People, places and values are invented."""

import copy
import json

MINIMAL = {
    "loambrief": 1,
    "case": {"id": "test-1", "date": "2026-10-20"},
    "client": {"name": "Halloran Bend Farm"},
    "farm": {"name": "Halloran Bend"},
    "field": {"name": "Creek Bottom", "area": "18 ac", "crop": "soybean", "tillage": "no-till",
              "irrigation": "none", "drainage": "tile drained"},
    "adviser": {"name": "Rosalind Achterberg",
                "credential": {"scheme": "State board", "number": "IN-0000",
                               "expires": "2027-12-31"},
                "interest": "None."},
}
SAMPLE = {
    "id": "B1",
    "date": "2026-10-02",
    "lab": {"name": "Dunmore Soil Laboratory"},
    "methods": {"ph": "water 1:1", "buffer": "sikora", "phosphorus": "mehlich-3-icp",
                "cations": "mehlich-3", "organic_matter": "loss on ignition",
                "cec": "summation", "ec": "saturated-paste"},
    "increments": [{"depth": "0-6 in", "ph": 6.2}],
}
PENETROMETER = {
    "date": "2026-10-02", "cone": "small 12.83 mm", "moisture": "moist", "depths": [3, 6, 9],
    "points": [{"id": "P1", "readings": [100, 200, None]}],
}


def minimal(**parts):
    """A minimal case as data, with parts added or replaced."""
    case = copy.deepcopy(MINIMAL)
    case.update(copy.deepcopy(parts))
    return case


def sample(*increments, **keys):
    """A sample with the given slices (dicts without depth stand for 0-6 in)."""
    made = copy.deepcopy(SAMPLE)
    made.update(copy.deepcopy(keys))
    if increments:
        made["increments"] = [{"depth": "0-6 in", **i} for i in increments]
    return made


def as_bytes(data):
    """JSON is YAML: the shortest way to a file."""
    return json.dumps(data, indent=1, ensure_ascii=False).encode()
