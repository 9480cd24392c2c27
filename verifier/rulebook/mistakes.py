"""From a check that failed to one plain sentence with its file, its line and what puts it right."""

import difflib
import re
from collections.abc import Iterable
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from verifier.errors import RuleMistake
from verifier.rulebook.row import PLAIN
from verifier.rulebook.toml_file import TomlFile
from verifier.rulebook.toml_lines import Place

Checked = TypeVar("Checked", bound=BaseModel)

# What a value of the wrong type should have been.
_WANTED = {
    "float_type": ("a number", "Write a number with a point and without quotes, such as 6.02"),
    "int_type": ("a whole number", "Write a whole number without quotes"),
    "string_type": ("a text", 'Write it between quotes, "…"'),
    "bool_type": ("true or false", "Write true or false, without quotes"),
    "tuple_type": ("a list", "Write it in square brackets; a table of its own begins with [[…]]"),
    "model_type": ("a table", "Write its keys on lines of their own, below a header in square brackets"),
    "finite_number": ("a number", "Write a number with a point and without quotes, such as 6.02"),
}
_BOUNDS = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}


def check(model: type[Checked], file: TomlFile) -> Checked:
    """Make the model from the file's values.

    Raises RuleMistake for the mistake on the earliest line, and says how many more there are.
    """
    try:
        return model.model_validate(file.values, strict=True)
    except ValidationError as error:
        raise _first_mistake(error, model, file) from error


def _first_mistake(error: ValidationError, model: type[BaseModel], file: TomlFile) -> RuleMistake:
    found: dict[Place, ErrorDetails] = {}
    for details in error.errors(include_url=False, include_input=True):
        found.setdefault(_place(details, file.values), details)
    found = _without_misspelt(found)
    place = min(found, key=file.line)
    what, do = _sentence(found[place], place, model)
    more = {1: "", 2: " (and one more mistake further down)"}.get(len(found), f" (and {len(found) - 1} more mistakes)")
    return RuleMistake(f"{what}{more}", where=file.where(place), do=do)


def _without_misspelt(found: dict[Place, ErrorDetails]) -> dict[Place, ErrorDetails]:
    """Without the missing keys of a table that has an unknown one: most likely they are the same key, misspelt."""
    unknown = {place[:-1] for place, details in found.items() if details["type"] == "extra_forbidden"}
    return {
        place: details
        for place, details in found.items()
        if details["type"] != "missing" or place[:-1] not in unknown or isinstance(place[-1], int)
    }


def _place(details: ErrorDetails, values: Any) -> Place:
    """The keys that lead to the mistake; the check adds the names of its own alternatives, which are dropped."""
    place: Place = ()
    for step in details["loc"]:
        try:
            values = values[step]
        except (KeyError, IndexError, TypeError):
            return (*place, step) if details["type"] == "missing" else place
        place = (*place, step)
    return place


def _sentence(details: ErrorDetails, place: Place, model: type[BaseModel]) -> tuple[str, str]:
    kind, key, context = details["type"], _last_key(place), details.get("ctx", {})
    if kind == PLAIN:
        return str(context["what"]), str(context["do"])
    if kind == "missing":
        return _missing(place)
    if kind == "extra_forbidden":
        return _unknown_key(key, keys_at(model, place[:-1]))
    if kind == "literal_error":
        return _not_one_of(key, details["input"], re.findall("'([^']*)'", str(context["expected"])))
    if kind in _BOUNDS:
        name, words = _BOUNDS[kind]
        return f"{key} is {shown(details['input'])}", f"Give {key} a value of {words} {context[name]}"
    if kind in _WANTED:
        wanted, do = _WANTED[kind]
        return f"{key} is not {wanted}", do
    return _wrong_length(kind, key, context)


def _wrong_length(kind: str, key: str, context: dict[str, Any]) -> tuple[str, str]:
    if kind in ("too_long", "string_too_long"):
        return f"{key} is too long", f"Give it {context['max_length']} at most"
    if kind in ("too_short", "string_too_short"):
        return f"{key} is too short", f"Give it {context['min_length']} at least"
    return f"{key} cannot be used", "Compare it with the same line of another row"


def _missing(place: Place) -> tuple[str, str]:
    key = _last_key(place)
    if isinstance(place[-1], int):
        return f"{key} has too few values", f"Give {key} {place[-1] + 1} of them, in square brackets"
    if key == "source":
        return "this row has no source", 'Add source = "…": whose figure it is, or "common practice, no source"'
    return f"there is no '{key}' here", f"Add a line {key} = …"


def _unknown_key(key: str, known: list[str]) -> tuple[str, str]:
    nearest = difflib.get_close_matches(key, known, n=1)
    do = f"Write '{nearest[0]}' in its place" if nearest else f"Take it out; the keys are {', '.join(known)}"
    return f"{shown(key)} is no key that is known here", do


def _not_one_of(key: str, given: object, choices: list[str]) -> tuple[str, str]:
    return f"{key} is {shown(given)}", f"Write {either(nearest_first(str(given), choices))}"


def shown(value: object) -> str:
    """A value as a sentence quotes it: characters that cannot be printed spelt out, and never longer than a line."""
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:56]}…{text[-1]}"


def nearest_first(name: str, choices: Iterable[str]) -> list[str]:
    """The choices in their order, but those spelt like the name before the others."""
    ordered = list(choices)
    near = difflib.get_close_matches(name, ordered, n=3, cutoff=0.5)
    return near + [choice for choice in ordered if choice not in near]


def either(choices: list[str]) -> str:
    """'a', 'b' or 'c'; of many, the first eight."""
    quoted = [f"'{choice}'" for choice in choices[:8]] + ([f"one of {len(choices) - 8} more"] if choices[8:] else [])
    return " or ".join([", ".join(quoted[:-1]), quoted[-1]] if len(quoted) > 1 else quoted)


def keys_at(model: type[BaseModel], place: Place) -> list[str]:
    """The keys that may stand in the table at a place."""
    here: Any = model
    for step in place:
        here = here.model_fields[step].annotation if isinstance(step, str) else get_args(here)[0]
    return list(here.model_fields)


def _last_key(place: Place) -> str:
    return next((step for step in reversed(place) if isinstance(step, str)), "the file")
