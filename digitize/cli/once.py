"""An option that takes one value, given twice on the command line: refused, as the library lets the last one hold."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from ..errors import UsageError

_GIVEN = "digitize.given"  # of a context's own things: the parameters in the order of the words, each as often as said


def noting(parser: Any, context: Any) -> Any:
    """Return the library's parser; which parameters it met is kept in the context."""
    parse = parser.parse_args

    def parse_args(args: list[str]) -> Any:
        found = parse(args=args)
        context.meta[_GIVEN] = list(found[2])
        return found

    parser.parse_args = parse_args
    return parser


def refuse_twice(context: Any, words: Sequence[str]) -> None:
    """Refuse options that take one value and were given more than one, and both words of a pair.

    Parameters
    ----------
    context
        Of the command-line library, once the words are read.
    words
        Those that were read.

    Raises
    ------
    UsageError
        Naming the option and what was said of it.
    """
    counts = Counter(id(one) for one in context.meta.get(_GIVEN, ()))
    for one in context.command.get_params(context):
        if counts[id(one)] < 2 or getattr(one, "multiple", False) or one.nargs != 1 or one.param_type_name != "option":
            continue
        said = list(_said(one, words))
        names = list(dict.fromkeys(name for name, _ in said))
        if not one.is_flag:
            told = ", then ".join(word or '""' for _, word in said)
            raise UsageError(f"{names[0]} is given {_times(len(said))}: {told}. Only one can hold: give it once.")
        if set(names) & set(one.secondary_opts) and set(names) & set(one.opts):
            raise UsageError(f"{' and '.join(names)} contradict each other: give one of them.")


def _said(option: Any, words: Sequence[str]) -> Iterator[tuple[str, str]]:
    """Yield the names that an option was given by, each with its word."""
    names = {*option.opts, *option.secondary_opts}
    for n, word in enumerate(words):
        if word == "--":
            return
        name, equals, value = word.partition("=")
        if name in names:
            yield name, value if equals or option.is_flag else " ".join(words[n + 1 : n + 2])


def _times(count: int) -> str:
    return "twice" if count == 2 else f"{count} times"
