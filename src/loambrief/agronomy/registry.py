"""Every published calculation, registered once with its unit, source and valid range.

A formula is a plain function with a decorator::

    @formula(unit="lb/ac", source="brady-weil-2008", locator="ch. 1", how="seen",
             valid={"depth_in": (0.5, 12.0)})
    def ppm_to_lb_per_acre(ppm: float, depth_in: float) -> float: ...

Calling it returns the plain number. ``ppm_to_lb_per_acre.evaluate(ppm=25, depth_in=6)``
returns the :class:`Result`: number, unit, source, range check and notes. While a case
runs inside :func:`recording`, each call is written to the :class:`Trace`, so every number
in an advisory can be followed back.
"""

import functools
import inspect
import keyword
import math
from collections.abc import Callable, Hashable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Generic, ParamSpec, TypeVar, overload

from loambrief.agronomy.possible import KINDS
from loambrief.errors import ImpossibleInput, UnknownName

P = ParamSpec("P")
T = TypeVar("T")
V = TypeVar("V", covariant=True)
"""What a formula answers with: float, str, or either with None where nothing is published."""

EVIDENCE = ("measured", "calculated", "observed", "screening sign", "common practice")


@dataclass(frozen=True)
class Answer(Generic[V]):
    """What a formula may return when the number alone does not say enough."""

    value: V
    """None when the published source gives no answer for such input (say why in notes)."""
    unit: str | None = None
    source: str | None = None
    locator: str | None = None
    how: str | None = None
    """``unit``, ``source``, ``locator``, ``how``: override the decorator's (a formula that reads
    one of several tables)."""
    notes: tuple[str, ...] = ()
    """Plain sentences: assumptions, steps of a table, what the figure is not."""
    details: Mapping[str, Any] = field(default_factory=dict)
    """Further named numbers (low, high, intermediate steps)."""
    within_range: bool | None = None


def by_row(row: Mapping[str, Any], value: T, **more: Any) -> Answer[T]:
    """An answer from a row of a table, with the source, place and check that the row names."""
    return Answer(value, source=str(row["source"]).split(";")[0], locator=row.get("locator"),
                  how=row["how"], **more)


@dataclass(frozen=True)
class Result(Generic[V]):
    """A number and everything needed to defend it."""

    formula: str
    value: V
    unit: str
    inputs: Mapping[str, object]
    source: str
    locator: str
    how: str
    evidence: str
    within_range: bool
    notes: tuple[str, ...] = ()
    details: Mapping[str, Any] = field(default_factory=dict)
    calculation: str = ""
    subject: tuple[Hashable, ...] = ()
    """What it is about: places and names; the report writes them."""

    @property
    def number(self) -> float:
        """The value where it must be a number.

        Raises
        ------
        ImpossibleInput
            The source gives none for these inputs, or the answer is a word.
        """
        if isinstance(self.value, bool) or not isinstance(self.value, int | float):
            raise ImpossibleInput(f"{self.formula} gives no number here: {self.value!r}")
        return float(self.value)

    @property
    def text(self) -> str:
        """The value where it must be a word (a class, a name).

        Raises
        ------
        ImpossibleInput
            The source gives none for these inputs, or the answer is a number.
        """
        if not isinstance(self.value, str):
            raise ImpossibleInput(f"{self.formula} gives no class here: {self.value!r}")
        return self.value

    def as_json(self) -> dict[str, Any]:
        """The answer of ``loambrief calc --json``."""
        answer = {
            "formula": self.formula,
            "value": self.value,
            "unit": self.unit,
            "inputs": dict(self.inputs),
            "source": f"{self.source}, {self.locator}" if self.locator else self.source,
            "evidence": self.evidence,
            "within_range": self.within_range,
            "notes": list(self.notes),
        }
        if self.details:
            answer["details"] = dict(self.details)
        return answer


@dataclass
class Trace:
    """Calculations made while a case ran, in order, each once."""

    seen: dict[tuple[Hashable, ...], Result] = field(default_factory=dict)
    """By formula, inputs and subject."""

    @property
    def results(self) -> list[Result]:
        return list(self.seen.values())


_TRACE: ContextVar[Trace | None] = ContextVar("loambrief_trace", default=None)
_SUBJECT: ContextVar[tuple[Hashable, ...]] = ContextVar("loambrief_subject", default=())


@contextmanager
def recording() -> Iterator[Trace]:
    """Record every formula call made inside the block."""
    trace = Trace()
    token = _TRACE.set(trace)
    try:
        yield trace
    finally:
        _TRACE.reset(token)


@contextmanager
def subject(*about: Hashable) -> Iterator[None]:
    """Say what the calls inside are about: a place, a material, a crop at a place."""
    token = _SUBJECT.set(about)
    try:
        yield
    finally:
        _SUBJECT.reset(token)


def _within(valid: Mapping[str, tuple], inputs: Mapping[str, object]) -> bool:
    for name, (low, high) in valid.items():
        value = inputs.get(name)
        if isinstance(value, int | float) and not isinstance(value, bool):
            if low is not None and value < low:
                return False
            if high is not None and value > high:
                return False
    return True


class _Parameter(inspect.Parameter):
    """A parameter by its public name: ``yield_`` in Python is ``yield`` to everyone else."""

    @property
    def name(self) -> str:
        name = super().name
        return name[:-1] if name.endswith("_") and keyword.iskeyword(name[:-1]) else name


def _public(signature: inspect.Signature) -> inspect.Signature:
    return signature.replace(
        parameters=[
            _Parameter(p.name, p.kind, default=p.default, annotation=p.annotation)
            for p in signature.parameters.values()
        ]
    )


class Formula(Generic[P, V]):
    """A registered calculation: callable for the number, ``evaluate`` for the record."""

    def __init__(
        self, function: Callable[P, V | Answer[V]], unit: str, source: str, locator: str,
        how: str, evidence: str, valid: Mapping[str, tuple[float | None, float | None]],
    ) -> None:
        functools.update_wrapper(self, function)
        self._function: Callable[..., Any] = function
        self.name = function.__name__
        self.unit = unit
        self.source = source
        self.locator = locator
        self.how = how
        self.evidence = evidence
        self.valid = MappingProxyType(dict(valid))

    @functools.cached_property
    def signature(self) -> inspect.Signature:
        """Its parameters by their public names; worked out when used, as most are not."""
        return _public(inspect.signature(self._function))

    @functools.cached_property
    def _named(self) -> dict[str, str]:
        return {name: f"{name}_" if keyword.iskeyword(name) else name
                for name in self.signature.parameters}

    @functools.cached_property
    def _needed(self) -> list[str]:
        return [p.name for p in self.signature.parameters.values()
                if p.default is inspect.Parameter.empty]

    @functools.cached_property
    def kinds(self) -> dict[str, Callable[..., None]]:
        """What refuses an impossible value, for parameters of a kind that some are."""
        return {p.name: KINDS[kind] for p in self.signature.parameters.values()
                for kind in str(p.annotation).split(" | ") if kind in KINDS}

    @property
    def topic(self) -> str:
        """``TOPIC`` of its module where it names one, else the name of the topic's folder."""
        named = self._function.__globals__.get("TOPIC")
        return named or self._function.__module__.split(".")[-2]

    @property
    def summary(self) -> str:
        """What it answers, in one sentence: the first line of its docstring."""
        return (self.__doc__ or "").strip().partition("\n")[0]

    def function(self, *args: P.args, **kwargs: P.kwargs) -> Any:
        """What it gives, unrecorded, for use inside another formula; refuses what cannot be."""
        return self._answer(self._bound(args, kwargs))

    def _answer(self, inputs: Mapping[str, Any]) -> Any:
        for name, refuse in self.kinds.items():
            refuse(**{name: inputs.get(name)})
        return self._function(**{self._named[name]: value for name, value in inputs.items()})

    def __call__(self, *args: P.args, **kwargs: P.kwargs) -> V:
        return self.evaluate(**self._bound(args, kwargs)).value

    def _bound(self, args: tuple[Any, ...], kwargs: Mapping[str, Any]) -> dict[str, Any]:
        """Arguments by name, in the order of the parameters; a whole signature binds slowly."""
        given = {**dict(zip(self._named, args, strict=False)), **kwargs}
        if len(given) < len(args) + len(kwargs) or not given.keys() <= self._named.keys() or (
                any(name not in given for name in self._needed)):
            return self.signature.bind(*args, **kwargs).arguments  # tells what is wrong
        return {name: given[name] for name in self._named if name in given}

    def held(self, **inputs: Any) -> Result[V] | None:
        """As :meth:`evaluate`; None where no table has a name, or its source gives no answer."""
        try:
            result = self.evaluate(**inputs)
        except UnknownName:
            return None
        return None if result.value is None else result

    def evaluate(self, **inputs: Any) -> Result[V]:
        """Compute, check the range, and record.

        Raises
        ------
        ImpossibleInput
            Not a finite number where one is needed, or what the function refuses.
        UnknownName
            A parameter of that name does not exist.
        """
        unknown = inputs.keys() - self._named.keys()
        if unknown:
            raise UnknownName(f"parameter of {self.name}", sorted(unknown)[0],
                              tuple(self._named))
        needed = [name for name in self._needed if name not in inputs]
        if needed:
            raise ImpossibleInput(f"{self.name} needs {', '.join(needed)}")
        for name, value in inputs.items():
            if isinstance(value, float) and not math.isfinite(value):
                raise ImpossibleInput(f"{self.name}: {name} is not a finite number")
        given = {k: v for k, v in inputs.items() if v is not None}
        trace, about = _TRACE.get(), _SUBJECT.get()
        key = (self.name, repr(sorted(given.items())), about)
        if trace is not None and key in trace.seen:
            return trace.seen[key]
        raw = self._answer(inputs)
        answer = raw if isinstance(raw, Answer) else Answer(raw)
        within = _within(self.valid, inputs)
        if answer.within_range is not None:
            within = within and answer.within_range
        result = Result(
            formula=self.name,
            value=answer.value,
            unit=self.unit if answer.unit is None else answer.unit,
            inputs=MappingProxyType(given),
            source=answer.source or self.source,
            locator=self.locator if answer.locator is None else answer.locator,
            how=answer.how or self.how,
            evidence=self.evidence,
            within_range=within,
            notes=answer.notes,
            details=answer.details,
            calculation="" if trace is None else f"c{len(trace.seen) + 1:03d}",
            subject=about,
        )
        if trace is not None:
            trace.seen[key] = result
        return result


FORMULAS: dict[str, Formula] = {}


@dataclass(frozen=True)
class _Registration:
    """The decorator itself: what :func:`formula` was told, and the taking of a function."""

    unit: str
    source: str
    locator: str
    how: str
    evidence: str
    valid: Mapping[str, tuple[float | None, float | None]]

    @overload
    def __call__(self, function: Callable[P, Answer[V]], /) -> Formula[P, V]: ...
    @overload
    def __call__(self, function: Callable[P, V], /) -> Formula[P, V]: ...
    def __call__(self, function: Callable[..., Any], /) -> Formula[..., Any]:
        name = function.__name__
        if name in FORMULAS:
            raise ValueError(f"formula {name} is registered twice")
        if self.evidence not in EVIDENCE:
            raise ValueError(f"formula {name}: unknown evidence grade {self.evidence!r}")
        made: Formula[..., Any] = Formula(
            function, self.unit, self.source, self.locator, self.how, self.evidence, self.valid
        )
        FORMULAS[name] = made
        return made


def formula(
    *,
    unit: str,
    source: str,
    locator: str = "",
    how: str,
    evidence: str = "calculated",
    valid: Mapping[str, tuple[float | None, float | None]] = MappingProxyType({}),
) -> _Registration:
    """Register a calculation under its own function name.

    Parameters
    ----------
    unit : str
        Unit of the answer (``"1"`` for none).
    source : str
        Key in the reference list.
    locator : str
        Page, table, equation or section there.
    how : str
        ``seen``, ``computed``, ``memory`` or ``convention``: how it was checked.
    evidence : str
        Grade of what it yields; ``"common practice"`` for a rule of the trade.
    valid : mapping
        Parameter name -> (lowest, highest) of the published range; None = open.

    Raises
    ------
    ValueError
        The name is taken or the evidence grade unknown.
    """

    return _Registration(unit, source, locator, how, evidence, valid)


def get(name: str) -> Formula:
    """A formula by name; ``UnknownName`` with the nearest if there is none."""
    if name not in FORMULAS:
        raise UnknownName("formula", name, tuple(sorted(FORMULAS)))
    return FORMULAS[name]
