"""What forms say of the space beyond what was seen of them."""

from collections.abc import Sequence

import numpy as np

from verifier.mending.forms import ON_FORM_MM, Flat, Form, Patches, Ring, Round, is_same, lies_on, together
from verifier.mending.roundings import Rolled
from verifier.mesh import Array, BoolArray

# A form is taken to go on beyond a rim, in steps of half the thinnest moulded wall (1 mm, common practice, no source);
# at once for this share of what measured surface of the same size says, and for 1 / e of it this much further on.
LED_STEP_MM = 0.5
LED_SHARE = 0.3
LED_FADES_MM = 3.0


def bounds_of(forms: Sequence[Form], points_mm: Array) -> list[Form]:
    """Planes that hold all of some points, square to the forms' own directions; those that are forms already left out.

    Where the face that ended a wall was not seen, the wall ends with the rest of the part, or where the hole does.
    """
    found: list[Form] = []
    for way in _directions(forms):
        for normal in (way, -way):
            bound = Flat(points_mm[int((points_mm @ normal).argmax())], normal)
            if not any(is_same(bound, form) for form in (*forms, *found)):
                found.append(bound)
    return found


def _directions(forms: Sequence[Form]) -> list[Array]:
    """The first flat's normal, the next that is nearly square to it, and square to both; none where all are alike."""
    ways = [form.normal if isinstance(form, Flat) else form.axis for form in forms if not isinstance(form, Ring)]
    square = [way for way in ways[1:] if abs(float(way @ ways[0])) < 0.1]
    if not square:
        return ways[:1]
    second = square[0] - (square[0] @ ways[0]) * ways[0]
    second /= np.linalg.norm(second)
    return [ways[0], second, np.cross(ways[0], second)]


def led_over(forms: Sequence[Form], rolled: Sequence[Rolled], rim: Patches, away: Array, reach_mm: float) -> Patches:
    """What the surface would be if every form went on beyond the rim, step by step, counting less the further.

    No form goes on across a bore, and a face goes on round its roundings.

    rim : patches at a rim; away : (n, 3) unit directions in the surface and away from it
    """
    found = []
    for form in forms:
        mine = lies_on(form, rim)
        start, way, normals = rim.middles_mm[mine], away[mine], rim.normals[mine]
        for step_mm in np.arange(LED_STEP_MM, reach_mm, LED_STEP_MM).tolist():
            at = start + step_mm * way
            looking, off = form.looking(at), form.off_mm(at)
            sign = np.sign(np.einsum("nx,nx->n", form.looking(start), normals))
            weight = LED_SHARE * np.exp(-step_mm / LED_FADES_MM)
            on = Patches(at - off[:, None] * looking, sign[:, None] * looking, weight * rim.areas_mm2[mine])
            found.append(_round_edges(form, on, rolled))
    led = together(found)
    bores = [form for form in forms if isinstance(form, Round) and form.outward < 0]
    bored = [form.off_mm(led.middles_mm) < -ON_FORM_MM for form in bores]  # its own wall lies on it, and goes on
    in_a_bore: BoolArray = np.any([np.abs(led.areas_mm2) < 0.0, *bored], axis=0)
    return led.at(~in_a_bore)


def _round_edges(face: Form, led: Patches, rolled: Sequence[Rolled]) -> Patches:
    """A face led on, its patches beyond where a rounding leaves it laid on that, and a rounding's own on its faces.

    Where two roundings leave a face there is a corner, of which neither says anything.
    """
    found: list[Patches] = []
    for each in rolled:
        if each.form is face:
            ends = [
                each.past(led.middles_mm),
                *(wall.past(led.middles_mm) for wall in rolled if wall.form is each.beside[1]),
            ]
            past = np.any(np.concatenate(ends), axis=0)
            found += [_laid_on(to, led.at(mine)) for to, mine in zip(each.beside, ends[0], strict=True)]
            led = led.at(~past)
    cut_off = [each.cuts_off(face, led.middles_mm) for each in rolled]
    times = np.sum([np.zeros(len(led.areas_mm2)), *cut_off], axis=0)
    found += [_laid_on(each.form, led.at(mine & (times == 1))) for each, mine in zip(rolled, cut_off, strict=True)]
    return together([led.at(times == 0), *found])


def _laid_on(form: Form, patches: Patches) -> Patches:
    """Patches moved on a form that looks nearly as they do; what looks the other way is left out."""
    looking = form.looking(patches.middles_mm) * (1 if isinstance(form, Flat) else form.outward)
    off = form.off_mm(patches.middles_mm)[:, None] * (1 if isinstance(form, Flat) else form.outward)
    on = Patches(patches.middles_mm - off * looking, looking, patches.areas_mm2)
    return on.at(np.einsum("nx,nx->n", looking, patches.normals) > 0.0)
