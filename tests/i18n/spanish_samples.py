"""Samples, advised once per unit system, and written in any language."""

from dataclasses import replace
from functools import cache
from pathlib import Path

from loambrief import pipeline
from loambrief.case.load import load_case

SAMPLES = Path(__file__).parents[2] / "sample_inputs"
NAMES = ("acid_corn_ohio", "saline_alfalfa_utah", "vegetables_new_jersey")


@cache
def _advice(name, units):
    return pipeline.advise(load_case(SAMPLES / name / "case.yaml", units=units))


@cache
def advised(name, language="es", units="us"):
    """Advice on a sample, to be written in a language."""
    advice = _advice(name, units)
    case = advice.loaded.case
    header = case.case.model_copy(update={"language": language})
    return replace(advice, loaded=replace(advice.loaded,
                                          case=case.model_copy(update={"case": header})))


@cache
def printed(name, language="es", units="us"):
    """Report model of a sample."""
    return pipeline.report_model(advised(name, language, units))
