"""A small invented case for the findings on field readings and forage, and how it is read."""

import copy

from loambrief.case.schema import CaseFile
from loambrief.report.text import Writer

WRITERS = {system: Writer("en", system) for system in ("us", "si")}
NOT_AS_PARAMS = frozenset(dir({}))
"""Names a template would find on the dict itself instead of the value."""
BASE = {
    "loambrief": 1,
    "case": {"id": "field-1", "date": "2026-10-20"},
    "client": {"name": "Odalys Renwick"},
    "farm": {"name": "Thornlea"},
    "field": {"name": "Long Acre", "area": "18 ac", "crop": "corn", "tillage": "conventional",
              "irrigation": "none", "drainage": "well drained"},
    "adviser": {"name": "Imre Castellan",
                "credential": {"scheme": "State board", "number": "PA-0", "expires": "2028-01-01"},
                "interest": "None."},
    "samples": [{
        "id": "A", "date": "2026-10-01", "cores": 20, "texture": "silt loam",
        "residue": "brushed off", "lab": {"name": "Gravel Bar Laboratory"},
        "increments": [{"depth": "0-6 in", "ph": 6.4}],
    }],
}


def case_of(*, slice_=None, sample=None, **parts):
    """The base case with parts replaced (``field`` and ``case`` are merged)."""
    data = copy.deepcopy(BASE)
    if slice_ is not None:
        data["samples"][0]["increments"] = [slice_]
    data["samples"][0].update(sample or {})
    for key, value in parts.items():
        if key in ("field", "case"):
            data[key].update(value)
        else:
            data[key] = value
    return CaseFile.model_validate(data)


def messages(assessment):
    """Every message an assessment holds, those inside needs and missing too."""
    for f in assessment.findings:
        yield f.title
        yield from f.body
        yield from (e.text for e in f.evidence)
        if f.reference:
            yield f.reference
        for pair in f.advise_against:
            yield from pair
        for need in f.needs:
            yield need.text
            yield from need.cautions
    for missing in assessment.missing:
        yield missing.what
        yield missing.consequence


def texts(assessment, system="us"):
    """All messages written out; a parameter may not bear the name of a dict method."""
    written = []
    for message in messages(assessment):
        assert not NOT_AS_PARAMS & set(message.params), message
        written.append(WRITERS[system].write(message))
    return written


def sources(assessment):
    """Every source key an assessment names."""
    for f in assessment.findings:
        yield from f.sources
        yield from (s for e in f.evidence for s in e.sources)
        yield from (s for n in f.needs for s in n.sources)


def needs_of(assessment, kind):
    """Needs of one kind, by item."""
    return {n.item: n for f in assessment.findings for n in f.needs if n.kind is kind}
