"""Invented parts of the hill farm, each with its exact sizes."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from inbox_demo.simulated.distances import (
    Array,
    Distance,
    bore,
    box2,
    crater,
    cut,
    disc,
    intersect,
    slab,
    tapered_bar,
    unite,
)


@dataclass(frozen=True)
class Shape:
    """An invented part: its distance function, a box that holds it, and its true sizes by row name.

    truth : name of the size -> mm (degrees for an angle)
    """

    name: str
    distance: Distance
    low_mm: tuple[float, float, float]
    high_mm: tuple[float, float, float]
    truth: dict[str, float] = field(default_factory=dict)


def latch_lever(*, pin_mm: float = 6.0) -> Shape:
    """Gate-latch lever: two round ends, a raised hub at the pivot, a pin bore at the far end."""

    def distance(p: Array) -> Array:
        body = intersect(tapered_bar(p, (0, 0), (60, 0), 14.0, 10.0), slab(p[:, 2], 0.0, 8.0))
        hub = intersect(disc(p, (0, 0), 11.0), slab(p[:, 2], 4.0, 12.0))
        return cut(cut(unite(body, hub), bore(p, (0, 0), 10.0)), bore(p, (60, 0), pin_mm))

    truth = {
        "length": 84.0,
        "width": 28.0,
        "height": 12.0,
        "body": 8.0,
        "hub step": 4.0,
        "hub": 22.0,
        "pivot": 10.0,
        "pin": pin_mm,
        "pivot to pin": 60.0,
        "pin to flank": 10.0,
        "flanks": float(np.degrees(2.0 * np.arcsin(4.0 / 60.0))),
    }
    return Shape("latch_lever", distance, (-15, -15, -1), (71, 15, 13), truth)


def pump_rocker() -> Shape:
    """Feed-pump rocker: a pivot between two unequal arms, a flat striking pad at the end of the longer one."""

    def distance(p: Array) -> Array:
        arms = unite(tapered_bar(p, (0, 0), (-48, 6), 13.0, 8.0), tapered_bar(p, (0, 0), (36, 8), 13.0, 7.0))
        plate = intersect(arms, slab(p[:, 2], 0.0, 14.0))
        pad = intersect(box2(p, (-48, 0), (14, 36)), slab(p[:, 2], 0.0, 10.0))
        solid = unite(plate, pad)
        for centre, diameter in (((0, 0), 12.0), ((-48, 6), 5.0), ((36, 8), 5.5)):
            solid = cut(solid, bore(p, centre, diameter))
        return solid

    truth = {
        "pivot": 12.0,
        "long end": 5.0,
        "short end": 5.5,
        "pivot to long end": float(np.hypot(48, 6)),
        "pivot to short end": float(np.hypot(36, 8)),
        "long end to short end": float(np.hypot(84, 2)),
        "plate": 14.0,
        "pad": 10.0,
        "pad step": 4.0,
        "pad height": 36.0,
        "long end to pad": 7.0,
    }
    return Shape("pump_rocker", distance, (-57, -20, -1), (45, 20, 15), truth)


def fence_clip(*, seen_mm: float | None = None, oval_mm: float = 0.0) -> Shape:
    """Fence clip: a plate with an upright lug; the wire bore may scan as a crater `seen_mm` deep."""

    def distance(p: Array) -> Array:
        plate = intersect(box2(p, (0, 0), (46, 24)), slab(p[:, 2], 0.0, 9.0))
        lug = intersect(box2(p, (18, 0), (10, 24)), slab(p[:, 2], 2.0, 21.0))
        solid = unite(plate, lug)
        solid = cut(cut(solid, bore(p, (-16, 0), 4.2)), bore(p, (-4, 5), 4.2))
        if seen_mm is None:
            return cut(solid, bore(p, (6, -5), 3.0, oval_mm))
        return cut(solid, crater(p, (6, -5), 3.0, (0.0, 9.0), seen_mm, oval_mm))

    truth = {
        "length": 46.0,
        "width": 24.0,
        "height": 21.0,
        "plate": 9.0,
        "lug": 10.0,
        "lug step": 12.0,
        "screw": 4.2,
        "nail": 4.2,
        "wire": 3.0,
        "screw to nail": 13.0,
        "screw to wire": float(np.hypot(22, 5)),
        "nail to wire": float(np.hypot(10, 10)),
        "screw to end": 7.0,
    }
    return Shape("fence_clip", distance, (-24, -13, -1), (24, 13, 22), truth)


def seat_armrest() -> Shape:
    """Seat armrest core: long, low, with rounded ends, two mounting bores and a pin."""

    def distance(p: Array) -> Array:
        bar = intersect(tapered_bar(p, (0, 0), (150, 0), 21.0, 16.0), slab(p[:, 2], 0.0, 18.0), radius_mm=2.0)
        pin = intersect(disc(p, (75, 0), 6.0), slab(p[:, 2], 9.0, 27.0))
        solid = unite(bar, pin)
        return cut(cut(solid, bore(p, (0, 0), 8.5)), bore(p, (150, 0), 8.5))

    truth = {
        "length": 187.0,
        "width": 42.0,
        "height": 27.0,
        "bar": 18.0,
        "pin": 12.0,
        "front": 8.5,
        "rear": 8.5,
        "front to rear": 150.0,
    }
    return Shape("seat_armrest", distance, (-22, -22, -1), (167, 22, 28), truth)
