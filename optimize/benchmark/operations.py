"""The elementwise operations of a rating, counted while it runs, and what NumPy takes for each on arrays in the cache.

Counting is done by arrays of a class of their own, through NumPy's own protocols. Their sum is the floor of any rating
that calls NumPy for these operations: what it takes above is memory, calls, temporaries, and copying.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from time import perf_counter
from typing import Any, ClassVar

import numpy as np

from physics.core import Designs
from physics.duty import Duty
from physics.envelope import Envelope
from physics.fins import Fin
from physics.ports import Port
from physics.rating import rate

TRANSCENDENTAL = frozenset((
    "exp", "exp2", "expm1", "log", "log2", "log10", "log1p", "power", "float_power", "sqrt", "cbrt", "sin", "cos",
    "tan", "arcsin", "arccos", "arctan", "arctan2", "sinh", "cosh", "tanh", "hypot", "logaddexp",
))  # fmt: skip
CACHED = 2048  # elements of an array timed: three of them are 48 kB
_REPEATS, _ROUNDS = 40, 25
_FUNCTIONS = {np.where: "where", np.interp: "interp"}  # elementwise, but no ufuncs

Kind = tuple[Callable[..., Any], str]  # the operation, and the letter of the type it is done in


class _Counted(np.ndarray[Any, np.dtype[Any]]):
    """An array whose every ufunc adds the elements it makes, or reduces, to the open counter."""

    counter: ClassVar["Counter[Kind]"] = Counter()

    def __array_ufunc__(self, ufunc: np.ufunc, method: str, *inputs: Any, **how: Any) -> Any:
        outputs = how.get("out", ())
        how |= {"out": tuple(_plain(out) for out in outputs)} if outputs else {}
        how |= {"where": _plain(how["where"])} if "where" in how else {}
        result = getattr(ufunc, method)(*(_plain(value) for value in inputs), **how)
        made = result[0] if isinstance(result, tuple) else result
        _Counted.counter[ufunc, _letter(inputs)] += int(np.size(made if method == "__call__" else inputs[0]))
        if outputs:
            return outputs[0] if len(outputs) == 1 else outputs
        return _marked_array(result)

    def __array_function__(self, function: Callable[..., Any], types: Any, args: Any, kwargs: Any) -> Any:
        result = super().__array_function__(function, types, args, kwargs)
        if function in _FUNCTIONS:
            _Counted.counter[function, "d"] += int(np.size(result))
        return _marked_array(result)


def _plain(value: Any) -> Any:
    return value.view(np.ndarray) if isinstance(value, _Counted) else value


def _marked_array(value: Any) -> Any:
    return value.view(_Counted) if type(value) is np.ndarray else value


def _letter(inputs: tuple[Any, ...]) -> str:
    """The type an operation is done in: 'd' floats, 'q' whole numbers, '?' truth."""
    kind = np.result_type(*(_plain(value) for value in inputs)).kind
    return {"i": "q", "u": "q", "b": "?"}.get(kind, "d")


@contextmanager
def counting() -> Iterator["Counter[Kind]"]:
    """Counts what is done inside with arrays of `marked` columns; not in two threads at once.

    `numpy.asarray`, which would drop the class and with it the count of what follows, keeps it meanwhile.
    """
    plain, _Counted.counter = np.asarray, Counter()
    np.asarray = np.asanyarray  # type: ignore[assignment]
    try:
        yield _Counted.counter
    finally:
        np.asarray = plain


def marked(columns: Any) -> Any:
    """An array, or a dataclass of columns (nested ones too), as counting arrays."""
    if isinstance(columns, np.ndarray):
        return _marked_array(columns)
    if not hasattr(columns, "__dataclass_fields__") or not isinstance(columns, (Designs, Duty, Fin, Port)):
        return columns
    return replace(columns, **{field.name: marked(getattr(columns, field.name)) for field in fields(columns)})


def prepared(kind: Kind) -> Callable[[], Any]:
    """A call of an operation over `CACHED` elements that stay in the cache."""
    function, letter = kind
    one, other = _operands(letter)
    given: tuple[Any, ...]
    if isinstance(function, np.ufunc):
        given = (one, other, other)[: function.nin]
        how = {"out": np.empty_like(function(*given))} if function.nout == 1 else {}
    else:
        points = np.array([0.0, 0.5, 1.0, 2.0])
        given, how = {"where": (one > 0.5, one, other), "interp": (one, points, points)}[_FUNCTIONS[function]], {}
    return lambda: function(*given, **how)


def _operands(letter: str) -> tuple[Any, Any]:
    one, other = np.random.default_rng(0).uniform(0.2, 0.9, (2, CACHED))  # inside the domain of every function
    if letter == "?":
        return one > 0.5, other > 0.5
    return ((8 * one).astype(np.int64), (8 * other).astype(np.int64)) if letter == "q" else (one, other)


def _seconds(call: Callable[[], Any], repeats: int) -> float:
    start = perf_counter()
    for _ in range(repeats):
        call()
    return (perf_counter() - start) / repeats


def best_seconds(calls: list[tuple[Callable[[], Any], int]]) -> list[float]:
    """Seconds of each (call, repeats), the best of rounds that take turns: other work on the machine hits all alike."""
    rounds = [[_seconds(call, repeats) for call, repeats in calls] for _ in range(_ROUNDS)]
    return [min(times) for times in zip(*rounds, strict=True)]


@dataclass(frozen=True)
class Floor:
    """Operations a rating (a core at a duty point), the time NumPy needs for them and what the rating took [ns].

    `kinds`: (operation, count a rating, ns an element), dearest first.
    """

    transcendental: float
    plain: float
    floor: float
    taken: float
    kinds: tuple[tuple[str, float, float], ...]

    @property
    def ratio(self) -> float:
        return self.taken / self.floor


def floor_of(designs: Designs, duty: Duty, envelope: Envelope | None, cores: int) -> Floor:
    """Count, time the operations, time the rating of `cores` designs: all in the same run."""
    ratings = cores * len(duty.names)
    with counting() as counter:
        rate(marked(designs), marked(duty), None, envelope)
    every = list(counter)
    whole = (lambda: rate(designs, duty, None, envelope), 1)
    taken, *each = best_seconds([whole, *((prepared(kind), _REPEATS) for kind in every)])
    kinds = sorted(
        ((kind[0].__name__, counter[kind] / ratings, 1e9 * s / CACHED) for kind, s in zip(every, each, strict=True)),
        key=lambda kind: -kind[1] * kind[2],
    )
    hard = sum(count for name, count, _ in kinds if name in TRANSCENDENTAL)
    plain = sum(count for name, count, _ in kinds if name not in TRANSCENDENTAL)
    floor = sum(count * ns for _, count, ns in kinds)
    return Floor(hard, plain, floor, 1e9 * taken / ratings, tuple(kinds))
