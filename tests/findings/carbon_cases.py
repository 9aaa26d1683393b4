"""A small case for the tests of carbon, nitrogen and tissue."""

import copy

from loambrief.case.schema import CaseFile

BASE = {
    "loambrief": 1,
    "case": {"id": "carbon-1", "date": "2026-10-20"},
    "client": {"name": "Odalys Renwick"},
    "farm": {"name": "Marl Knoll"},
    "field": {"name": "East", "area": "20 ac", "crop": "corn", "tillage": "no-till",
              "irrigation": "none", "drainage": "well drained"},
    "adviser": {"name": "Imre Castellan",
                "credential": {"scheme": "State board", "number": "PA-0", "expires": "2028-01-01"},
                "interest": "None."},
    "samples": [{
        "id": "E", "date": "2026-10-01", "cores": 20, "texture": "silt loam",
        "lab": {"name": "Gravel Bar Laboratory"}, "methods": {"organic_matter": "loss on ignition"},
        "increments": [{"depth": "0-6 in", "organic_matter": "2.5 %"}],
    }],
}


def case_of(slice_=None, *, sample=None, **parts):
    data = copy.deepcopy(BASE)
    if slice_ is not None:
        data["samples"][0]["increments"] = [slice_]
    data["samples"][0].update(sample or {})
    for key, value in parts.items():
        if isinstance(value, dict) and key in data:
            data[key].update(value)
        else:
            data[key] = value
    return CaseFile.model_validate(data)
