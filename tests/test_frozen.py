"""Classes of `digitize.frozen` held against those that the standard library makes of the same text."""

from __future__ import annotations

import copy
import dataclasses
import pickle
from collections.abc import Callable
from typing import Any, ClassVar

import pytest

from digitize import frozen
from digitize.records import Finding


def classes(make: Callable[..., Any]) -> dict[str, Any]:
    """Classes with whatever the package's own have."""

    @make(frozen=True, slots=True)
    class Place:
        """Two numbers."""

        x: float
        y: float = 2.0

    @make(frozen=True, slots=True, kw_only=True)
    class Named(Place):
        """By name alone; with a list of its own, a kind for all, and something that does not count."""

        kind: ClassVar[str] = "named"
        words: list[str] = dataclasses.field(default_factory=list)
        worked: float = dataclasses.field(default=0.0, compare=False, repr=False)
        name: str

        def __post_init__(self) -> None:
            if not self.name:
                raise ValueError("no name")

    @make(frozen=True, slots=True)
    class Own:
        """One value, shown in its own way."""

        value: int

        def __repr__(self) -> str:
            return "own"

    @make(frozen=True, slots=True, eq=False)
    class Alone:
        """Equal to itself alone."""

        value: int = 0

    @make(slots=True)
    class Open:
        """Not frozen."""

        value: int = 0

    @make(frozen=True, slots=True)
    class Bare:
        """Without fields."""

    return {one.__name__: one for one in (Place, Named, Own, Alone, Open, Bare)}


OURS, THEIRS = classes(frozen.dataclass), classes(dataclasses.dataclass)
CALLS = (
    ("Place", (1.0,), {}),
    ("Place", (1.0, 3.0), {}),
    ("Place", (), {"y": 1.0, "x": 2.0}),
    ("Place", (), {}),
    ("Place", (1.0, 2.0, 3.0), {}),
    ("Place", (1.0,), {"z": 1.0}),
    ("Named", (1.0,), {"name": "a"}),
    ("Named", (1.0,), {"name": "a", "words": ["b"], "worked": 1.0}),
    ("Named", (1.0,), {"name": ""}),
    ("Named", (1.0, 2.0, "a"), {}),
    ("Own", (4,), {}),
    ("Alone", (), {}),
    ("Open", (), {}),
)


def told(kind: Any, values: tuple[Any, ...], named: dict[str, Any]) -> list[Any]:
    """All that can be told of an instance, or how it was refused."""
    try:
        one = kind(*values, **named)
    except (TypeError, ValueError) as error:
        return [type(error), str(error)]
    fields = [(field.name, field.kw_only, field.compare) for field in dataclasses.fields(one)]
    found = [repr(one), fields, dataclasses.asdict(one), kind.__match_args__, hasattr(one, "__dict__")]
    for change in (setattr, delattr):
        try:
            change(one, *(fields[0][0], 5)[: 2 if change is setattr else 1])
            found.append("changed")
        except AttributeError as error:
            found += [type(error), str(error)]
    return found


@pytest.mark.parametrize(("name", "values", "named"), CALLS)
def test_an_instance_is_made_shown_and_kept_as_it_is(name: str, values: tuple[Any, ...], named: dict[str, Any]) -> None:
    assert told(OURS[name], values, named) == told(THEIRS[name], values, named)


@pytest.mark.parametrize("kinds", [OURS, THEIRS])
def test_what_is_equal_and_what_a_list_belongs_to(kinds: dict[str, Any]) -> None:
    place, named, own, alone = (kinds[name] for name in ("Place", "Named", "Own", "Alone"))
    assert place(1.0) == place(1.0, 2.0) != place(2.0)
    assert place(1.0) != (1.0, 2.0)
    assert hash(place(1.0)) == hash((1.0, 2.0))
    assert hash(own(3)) == hash((3,))
    assert kinds["Bare"]() == kinds["Bare"]()
    assert hash(kinds["Bare"]()) == hash(())
    assert named(1.0, name="a", worked=1.0) == named(1.0, name="a", worked=2.0)
    assert named(1.0, name="a") != place(1.0)
    assert alone() != alone()
    one, other = named(1.0, name="a"), named(1.0, name="a")
    one.words.append("b")
    assert (one.words, other.words) == (["b"], [])
    assert dataclasses.replace(one, name="c") == named(1.0, name="c", words=["b"])


def test_a_record_goes_through_a_pickle_and_a_copy() -> None:
    one = Finding("left-out", "words", value=1.0, attention=True)
    for again in (pickle.loads(pickle.dumps(one)), copy.copy(one), copy.deepcopy(one)):
        assert again == one
        assert again is not one
