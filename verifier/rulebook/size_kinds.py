"""The kinds of size a sheet may ask for, and which other rows each of them has to name."""

from collections.abc import Mapping
from typing import Literal

SizeKind = Literal[
    "overall",
    "thickness",
    "bore",
    "boss",
    "centre distance",
    "edge distance",
    "step",
    "angle",
    "slot width",
    "slot length",
    "ball",
    "countersink diameter",
    "countersink angle",
    "counterbore diameter",
    "counterbore depth",
    "pitch circle",
    "flatness",
    "parallelism",
    "perpendicularity",
    "least wall",
]

# Deviations from a true shape (ISO 1101): nought is perfect, only a greatest value is allowed, and no calliper reads
# them off the original.
FORM_KINDS: tuple[SizeKind, ...] = ("flatness", "parallelism", "perpendicularity")

# Kinds on which neither scale nor coat act: an even coat turns no face and bends none, and a scale error of one per
# cent changes a flatness of 0.2 mm by 0.002 mm.
SHAPE_KINDS: tuple[SizeKind, ...] = ("angle", "countersink angle", *FORM_KINDS)

# Kinds in degrees; all others are in millimetres.
IN_DEGREES: tuple[SizeKind, ...] = ("angle", "countersink angle")

# Kinds of what opens a bore at its mouth.
SUNK: tuple[SizeKind, ...] = (
    "countersink diameter",
    "countersink angle",
    "counterbore diameter",
    "counterbore depth",
)
BORES: tuple[SizeKind, ...] = ("bore",)
ROUND: tuple[SizeKind, ...] = ("bore", "boss")
FACED: tuple[SizeKind, ...] = ("thickness", "step", "edge distance")


def _say(key: str, what: str) -> str:
    lists = {"between": '["…", "…"]', "through": '["…", "…", "…"]'}
    return f"Add a line {key} = {lists.get(key, chr(34) + '…' + chr(34))} with the name{'s' * (key in lists)} of {what}"


# kind -> key -> (what the row does not say, what to write there); only where the kind is nothing without it.
_KEYS: Mapping[SizeKind, Mapping[str, tuple[str, str]]] = {
    "centre distance": {"between": ("between what", _say("between", "the two bores or bosses"))},
    "edge distance": {"of": ("of what", _say("of", "the bore or boss"))},
    **{kind: {"of": ("of which bore", _say("of", "the bore it widens"))} for kind in SUNK},
    "pitch circle": {"through": ("through which bores", _say("through", "three or more bores or bosses"))},
    "flatness": {"of": ("of what", _say("of", "a thickness, a step or an edge distance: its faces are meant"))},
    "parallelism": {"of": ("of what", _say("of", "a thickness, whose faces are meant, or of a bore or boss"))},
    "perpendicularity": {
        "of": ("of what", _say("of", "the bore or boss, or of a thickness, whose faces are meant")),
        "datum": ("to what", _say("datum", "the thickness or bore it is to be square to")),
    },
}

# kind -> key -> kinds of row it may name. A kind that is not here names bores and bosses.
_NAMES: Mapping[SizeKind, Mapping[str, tuple[SizeKind, ...]]] = {
    **{kind: {"of": BORES} for kind in SUNK},
    "flatness": {"of": FACED},
    "parallelism": {"of": (*FACED, *ROUND), "datum": (*FACED, *ROUND)},
    "perpendicularity": {"of": (*FACED, *ROUND), "datum": (*FACED, *ROUND)},
}


def unit_of(kind: str) -> str:
    """'degrees' or 'mm'."""
    return "degrees" if kind in IN_DEGREES else "mm"


def missing_key(kind: SizeKind, keys: Mapping[str, object]) -> tuple[str, str] | None:
    """What a row of this kind lacks, and what to write; None when it says all it has to.

    keys : between, of, through and datum as the row has them, None where it has not
    """
    for key, (question, do) in _KEYS.get(kind, {}).items():
        if keys[key] is None:
            return f"this {kind} does not say {question}", do
    if kind == "parallelism" and keys["datum"] == keys["of"]:
        return "this parallelism is of a row to itself", "Take datum out: the faces of one row are compared then"
    return None


def may_name(kind: SizeKind, key: str) -> tuple[SizeKind, ...]:
    """Kinds of row that a key of this kind of row may name."""
    return _NAMES.get(kind, {}).get(key, ROUND)
