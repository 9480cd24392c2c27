"""Parts made by hand as found features, scanned at a known scale and coat, and the shop's rules to measure them by."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.spatial.transform import Rotation

from tests.made_up_rules import made_up_rules
from verifier.finding.feature import Cylinder, Extent, Features, Noise, Plane
from verifier.rulebook.sheet import Sheet, SheetRow

RULES = made_up_rules(
    reading={"max_coordinate_mm": 1e5},
    # Prior of the coat: 0.03 +- 0.03, 0 to 0.15 mm; scale to half a percent, so that +-1 % lies at two sigma.
    expectation={"coat_mm": 0.03, "u_coat_mm": 0.03, "smallest_part_mm": 5.0, "largest_part_mm": 500.0},
)
NOISE = Noise(0.02, 0.02, 1.0)
Z = np.array([0.0, 0.0, 1.0])
NO_FACES = np.empty(0, dtype=np.int64)


@dataclass(frozen=True)
class Hole:
    """A bore (or boss) of a part, straight up at x, y; name is what the sheet calls it."""

    name: str
    x: float
    y: float
    diameter: float
    kind: str = "bore"


@dataclass(frozen=True)
class Face:
    """A rectangular flat face: middle, outward normal (an axis of the part) and its two sides."""

    name: str
    centre: tuple[float, float, float]
    normal: tuple[float, float, float]
    sides: tuple[float, float]


@dataclass(frozen=True)
class PartPlan:
    """A part as drawn; size: overall length, width, height."""

    holes: tuple[Hole, ...] = ()
    faces: tuple[Face, ...] = ()
    size: tuple[float, float, float] | None = None


@dataclass(frozen=True)
class Scanned:
    """Features found, and what each was on the drawing: feature name -> drawn name."""

    features: Features
    drawn: dict[str, str] = field(default_factory=dict)


def box_faces(length: float, width: float, height: float) -> tuple[Face, ...]:
    """The six faces of a box that sits with its middle on the origin."""
    sides = {0: (width, height), 1: (length, height), 2: (length, width)}
    faces = []
    for axis, half in enumerate((length / 2, width / 2, height / 2)):
        for sign in (1.0, -1.0):
            normal = tuple(sign if k == axis else 0.0 for k in range(3))
            centre = tuple(sign * half if k == axis else 0.0 for k in range(3))
            faces.append(Face(f"{'xyz'[axis]}{'+' if sign > 0 else '-'}", centre, normal, sides[axis]))
    return tuple(faces)


def scan(
    part: PartPlan,
    rng: np.random.Generator,
    *,
    scale: float = 1.0,
    coat: float = 0.0,
    u: float = 0.01,
    turn: Rotation | None = None,
    noisy: bool = True,
) -> Scanned:
    """What the finder would give of a part: every size = scale * drawn + walls * coat + noise of u."""
    turn = turn or Rotation.identity()
    sigma = u if noisy else 0.0
    bores = [(h, _cylinder(h, rng, scale, coat, u, sigma, turn)) for h in part.holes]
    planes = [(f, _plane(f, rng, scale, coat, u, sigma, turn)) for f in part.faces]
    bores.sort(key=lambda pair: -pair[1].diameter_mm)
    planes.sort(key=lambda pair: -pair[1].area_mm2)
    drawn: dict[str, str] = {}
    count = {"bore": 0, "boss": 0}
    cylinders, flats = [], []
    for hole, cylinder in bores:
        count[hole.kind] += 1
        name = f"{hole.kind} {count[hole.kind]}"
        drawn[name] = hole.name
        cylinders.append(replace(cylinder, name=name))
    for index, (face, plane) in enumerate(planes, start=1):
        drawn[f"plane {index}"] = face.name
        flats.append(replace(plane, name=f"plane {index}"))
    return Scanned(
        Features(tuple(flats), tuple(cylinders), _extents(part, rng, scale, coat, sigma, u, turn), NOISE), drawn
    )


def _cylinder(
    hole: Hole, rng: np.random.Generator, scale: float, coat: float, u: float, sigma: float, turn: Rotation
) -> Cylinder:
    walls = -2 if hole.kind == "bore" else 2
    diameter = scale * hole.diameter + walls * coat + sigma * rng.standard_normal()
    spot = scale * np.array([hole.x, hole.y, 0.0]) + sigma * np.append(rng.standard_normal(2), 0.0) / np.sqrt(2)
    return Cylinder(
        name="?",
        kind=hole.kind,  # type: ignore[arg-type]
        axis_point_mm=turn.apply(spot),
        axis=turn.apply(Z),
        diameter_mm=diameter,
        pin_diameter_mm=diameter - 0.02,
        form_error_mm=0.02,
        arc_deg=360.0,
        depth_mm=4.0,
        through=True,
        axis_held="own",
        rms_mm=0.02,
        u_diameter_mm=u,
        u_position_mm=u / np.sqrt(2),
        u_axis_rad=0.001,
        point_count=500,
        faces=NO_FACES,
    )


def _plane(
    face: Face, rng: np.random.Generator, scale: float, coat: float, u: float, sigma: float, turn: Rotation
) -> Plane:
    normal = np.array(face.normal)
    centre = scale * np.array(face.centre) + (coat + sigma * rng.standard_normal() / np.sqrt(2)) * normal
    first = np.eye(3)[(np.argmax(np.abs(normal)) + 1) % 3]
    second = np.eye(3)[(np.argmax(np.abs(normal)) + 2) % 3]
    # sides are given in the order of the two other axes x, y, z
    across = face.sides if np.argmax(np.abs(normal)) != 1 else face.sides[::-1]
    a, b = np.meshgrid(np.linspace(-0.5, 0.5, 16), np.linspace(-0.5, 0.5, 16))
    spots = centre + scale * (a.reshape(-1, 1) * across[0] * first + b.reshape(-1, 1) * across[1] * second)
    return Plane(
        name="?",
        normal=turn.apply(normal),
        centre_mm=turn.apply(centre),
        area_mm2=scale**2 * face.sides[0] * face.sides[1],
        rms_mm=0.02,
        form_error_mm=0.03,
        u_offset_mm=u / np.sqrt(2),
        u_tilt_rad=1e-5,
        point_count=1000,
        faces=NO_FACES,
        points_mm=turn.apply(spots),
    )


def _extents(
    part: PartPlan, rng: np.random.Generator, scale: float, coat: float, sigma: float, u: float, turn: Rotation
) -> tuple[Extent, ...]:
    if part.size is None:
        return ()
    lengths = [scale * side + 2 * coat + sigma * rng.standard_normal() for side in part.size]
    order = np.argsort([-length for length in lengths])
    return tuple(
        Extent(
            name,
            turn.apply(np.eye(3)[axis]),
            lengths[axis],
            u,
            turn.apply(np.outer([-0.5, 0.5], np.eye(3)[axis]) * lengths[axis]),
        )
        for name, axis in zip(("length", "width", "height"), order, strict=True)
    )


def sheet(*rows: SheetRow) -> Sheet:
    return Sheet(part="latch_lever", size=tuple(rows))


def row(name: str, kind: str, reading: float | None = None, **more: object) -> SheetRow:
    return SheetRow.model_validate({"name": name, "kind": kind, "reading": reading, **more})


def bore_rows(holes: Sequence[Hole], rng: np.random.Generator | None = None, u: float = 0.016) -> list[SheetRow]:
    """A row for each hole, read with an error of u."""
    return [row(h.name, h.kind, h.diameter + _error(rng, u)) for h in holes]


def distance_rows(
    holes: Sequence[Hole], pairs: Sequence[tuple[str, str]], rng: np.random.Generator | None = None, u: float = 0.016
) -> list[SheetRow]:
    """A centre distance for each pair of names."""
    spot = {h.name: np.array([h.x, h.y]) for h in holes}
    return [
        row(f"{a} to {b}", "centre distance", float(np.linalg.norm(spot[a] - spot[b])) + _error(rng, u), between=[a, b])
        for a, b in pairs
    ]


def _error(rng: np.random.Generator | None, u: float) -> float:
    return 0.0 if rng is None else float(u * rng.standard_normal())
