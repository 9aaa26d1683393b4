"""Samples, advised once per unit system, and written in any language."""

import json
from functools import cache
from pathlib import Path

import pytest

from loambrief import pipeline
from loambrief.case.load import load_case

SAMPLES = Path(__file__).parents[2] / "sample_inputs"
NAMES = ("acid_corn_ohio", "saline_alfalfa_utah", "vegetables_new_jersey")


@cache
def advised(name, language="es", **settings):
    """Advice on a sample in a language."""
    return pipeline.advise(load_case(SAMPLES / name / "case.yaml", language=language, **settings))


@cache
def data(name, language="es", **settings):
    """The advisory of a sample as data."""
    return json.loads(pipeline.render(advised(name, language, **settings)).data)


@pytest.fixture(params=NAMES)
def sample(request):
    return request.param
