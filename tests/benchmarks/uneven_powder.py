"""How true sizes come out where powder lies thinner in bores than on the faces.

`python -m tests.benchmarks.uneven_powder 400 [SEED]` prints, for each way the powder lies, error and stated uncertainty
of sizes inside and outside, over made-up sheets of three parts of which two readings in five are left out.
"""

import sys
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.correcting.bench import LEVER, SCAN_U_MM, Row, reading_u_mm, scanned, sheet_for, shop
from verifier.correcting.scale_coat import separate_scale_from_coat
from verifier.mesh import Array
from verifier.uncertainty import same_coverage_factor

Drawn = Callable[[np.random.Generator, int], Array]

# Share of the coat on the faces that lies on the walls of each bore.
POWDERS: dict[str, Drawn] = {
    "as thick": lambda _, count: np.ones(count),
    "half as thick": lambda _, count: np.full(count, 0.5),
    "none": lambda _, count: np.zeros(count),
    "one share, any": lambda rng, count: np.full(count, rng.uniform(0.0, 1.0)),
    "each bore its own": lambda rng, count: rng.uniform(0.0, 1.0, count),
}
COATS_MM = (0.0, 0.02, 0.05, 0.08)
BRACKET = (
    *(Row(f"side {size}", "overall", size, 2) for size in (80.0, 60.0, 40.0)),
    Row("plate", "thickness", 8.0, 2),
    *(Row(f"bore {size}", "bore", size, -2) for size in (5.0, 8.0, 20.0)),
)
RAIL = (
    *(Row(f"side {size}", "overall", size, 2) for size in (300.0, 60.0, 25.0)),
    Row("plate", "thickness", 6.0, 2),
    *(Row(f"bore {size}", "bore", size, -2) for size in (5.0, 6.5, 8.0, 12.0)),
    Row("hub", "boss", 16.0, 2),
)


@dataclass(frozen=True)
class Told:
    """Error, standard uncertainty and coverage factor of one size that was not read, mm."""

    inside: bool
    error: float
    u: float
    factor: float


def sheet_of(part: tuple[Row, ...], powder: Drawn, rng: np.random.Generator) -> list[Told]:
    """One made-up scan, corrected by the readings that are left."""
    scale, coat_mm = 1.0 + 0.003 * rng.standard_normal(), rng.choice(COATS_MM)
    thinner = (1.0 - powder(rng, len(part))) * coat_mm
    errors = SCAN_U_MM * rng.standard_normal(len(part)) + np.array([max(-row.walls, 0) for row in part]) * thinner
    readings = np.array([row.true_mm for row in part]) + reading_u_mm(part) * rng.standard_normal(len(part))
    read = rng.random(len(part)) > 0.4
    given = [float(value) if kept else None for value, kept in zip(readings, read, strict=True)]
    found = separate_scale_from_coat(scanned(part, scale, coat_mm, errors), sheet_for(part, given), shop())
    if not found.separable:
        return []
    return [
        Told(row.walls < 0, size.corrected_mm - row.true_mm, size.u_mm, same_coverage_factor(2.0, size.dof))
        for row, size, kept in zip(part, found.sizes, read, strict=True)
        if not kept
    ]


def main(count: int, seed: int) -> None:
    """Print a line for each powder and side."""
    print(f"{'powder in bores':20}{'':9}{'n':>6}{'bias':>9}{'rms':>8}{'u':>8}{'in U':>8}")
    for name, powder in POWDERS.items():
        rng = np.random.default_rng(seed)
        told = [one for k in range(count) for one in sheet_of((LEVER, BRACKET, RAIL)[k % 3], powder, rng)]
        for inside in (True, False):
            rows = [one for one in told if one.inside == inside]
            errors, u = np.array([one.error for one in rows]), np.array([one.u for one in rows])
            held = np.mean(np.abs(errors) <= np.array([one.factor for one in rows]) * u)
            rms = np.sqrt(np.mean(errors**2))
            where = "inside" if inside else "outside"
            print(f"{name:20}{where:9}{len(rows):6}{errors.mean():+9.4f}{rms:8.4f}{np.median(u):8.4f}{held:8.1%}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 400, int(sys.argv[2]) if len(sys.argv) > 2 else 88500)
