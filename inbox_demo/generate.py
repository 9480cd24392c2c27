"""Makes the demo's exports and dimension sheets anew: `python -m inbox_demo.generate`.

Every part, size and reading is invented. The readings are the true sizes with a calliper's scatter, rounded to 0.01 mm.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from inbox_demo import simulated

HERE = Path(__file__).parent


def _readings(truth: dict[str, float], seed: int, u_mm: float = 0.015) -> dict[str, float]:
    rng = np.random.default_rng(seed)
    return {name: round(size + u_mm * float(rng.normal()), 2) for name, size in truth.items()}


def latch_lever() -> bytes:
    """A plain turntable scan in millimetres: specks, small holes, a few flipped and doubled faces."""
    found = simulated.scan(simulated.latch_lever(), spacing_mm=0.6, seed=11, correlated_mm=0.01)
    faces = simulated.with_holes(found.faces, found.vertices_mm, count=6, across_mm=2.4, seed=3)
    faces = simulated.with_flipped(faces, share=0.002, seed=4)
    faces = simulated.with_doubled(faces, count=20, seed=5)
    vertices, faces = simulated.with_specks(found.vertices_mm, faces, count=5, across_mm=1.2, seed=6)
    return simulated.stl_bytes(vertices, faces)


def pump_rocker() -> bytes:
    """Exported in inches, dusted 0.06 mm thick, scanned 0.35 % large."""
    shape = simulated.pump_rocker()
    found = simulated.scan(shape, spacing_mm=0.6, seed=21, correlated_mm=0.01, coat_mm=0.06, scale=1.0035)
    vertices, faces = simulated.with_specks(found.vertices_mm, found.faces, count=3, across_mm=1.0, seed=7)
    return simulated.obj_bytes(vertices / 25.4, faces)


def fence_clip() -> bytes:
    """The wire bore closed 2 mm below each mouth and scanned oval."""
    shape = simulated.fence_clip(seen_mm=2.0, oval_mm=0.2)
    found = simulated.scan(shape, spacing_mm=0.45, seed=31, correlated_mm=0.01, coat_mm=0.02)
    faces = simulated.with_holes(found.faces, found.vertices_mm, count=3, across_mm=2.0, seed=8)
    return simulated.ply_bytes(found.vertices_mm, faces)


def seat_armrest() -> bytes:
    """A new part: nobody has written a sheet for it yet."""
    found = simulated.scan(simulated.seat_armrest(), spacing_mm=0.95, seed=41, correlated_mm=0.01)
    return simulated.three_mf_bytes(found.vertices_mm, found.faces)


def sheets() -> dict[str, str]:
    """The dimension sheets, part by part."""
    lever = _readings(simulated.latch_lever().truth, 1)
    rocker = _readings(simulated.pump_rocker().truth, 2)
    clip = _readings(simulated.fence_clip().truth, 4)
    clip["lug"] = round(clip["lug"] + 0.4, 2)  # the misread value: 10.4 for 10.0
    return {
        "latch_lever": LEVER_SHEET.format(**{k.replace(" ", "_"): f"{v:.2f}" for k, v in lever.items()}),
        "pump_rocker": ROCKER_SHEET.format(**{k.replace(" ", "_"): f"{v:.2f}" for k, v in rocker.items()}),
        "fence_clip": CLIP_SHEET.format(**{k.replace(" ", "_"): f"{v:.2f}" for k, v in clip.items()}),
    }


LEVER_SHEET = """\
# Gate-latch lever. Readings in millimetres, taken on the cleaned original.
part = "latch_lever"
description = "Gate-latch lever, yard side"
filament = "PETG"
calliper = "digital 0.01"
general_tolerance = "ISO 2768-m"   # for rows that give none of their own

[[size]]
name = "length"
kind = "overall"
along = "length"
reading = {length}

[[size]]
name = "width"
kind = "overall"
along = "width"
reading = {width}

[[size]]
name = "body"
kind = "thickness"
reading = {body}

[[size]]
name = "hub step"
kind = "step"
reading = {hub_step}
gauged = "depth rod"

[[size]]
name = "hub"
kind = "boss"
reading = {hub}

[[size]]
name = "pivot"
kind = "bore"
reading = {pivot}
gauged = "inside jaws"
tolerance = 0.15                   # turns on a 9.8 mm pin
use = "true"                       # rebuilt round, with the printer's hole allowance

[[size]]
name = "pin"
kind = "bore"
reading = {pin}
gauged = "inside jaws"
tolerance = 0.15
use = "true"

[[size]]
name = "pivot to pin"
kind = "centre distance"
between = ["pivot", "pin"]
reading = {pivot_to_pin}
tolerance = 0.2

[[size]]
name = "pin to flank"
kind = "edge distance"
of = "pin"
reading = {pin_to_flank}
required = false
"""

ROCKER_SHEET = """\
# Feed-pump rocker. The export's unit is not written here: it is settled from the sizes.
part = "pump_rocker"
description = "Feed-pump rocker with striking pad"
filament = "ASA"
calliper = "digital 0.01"
general_tolerance = "ISO 2768-m"

[[size]]
name = "pivot"
kind = "bore"
reading = {pivot}
gauged = "inside jaws"
tolerance = 0.15

[[size]]
name = "long end"
kind = "bore"
reading = {long_end}
gauged = "inside jaws"
tolerance = 0.15

[[size]]
name = "short end"
kind = "bore"
reading = {short_end}
gauged = "inside jaws"
tolerance = 0.15

[[size]]
name = "pivot to long end"
kind = "centre distance"
between = ["pivot", "long end"]
reading = {pivot_to_long_end}

[[size]]
name = "pivot to short end"
kind = "centre distance"
between = ["pivot", "short end"]
reading = {pivot_to_short_end}

[[size]]
name = "long end to short end"
kind = "centre distance"
between = ["long end", "short end"]
reading = {long_end_to_short_end}

[[size]]
name = "plate"
kind = "thickness"
reading = {plate}

[[size]]
name = "pad"
kind = "thickness"
reading = {pad}

[[size]]
name = "pad step"
kind = "step"
reading = {pad_step}
gauged = "depth rod"

[[size]]
name = "pad height"
kind = "thickness"
reading = {pad_height}
"""

CLIP_SHEET = """\
# Fence clip. One of these readings is wrong by four tenths: the report names it.
part = "fence_clip"
description = "Fence clip with upright lug"
filament = "PETG"
calliper = "digital 0.01"
general_tolerance = "ISO 2768-m"

[[size]]
name = "length"
kind = "overall"
along = "length"
reading = {length}

[[size]]
name = "width"
kind = "overall"
along = "width"
reading = {width}

[[size]]
name = "height"
kind = "overall"
along = "height"
reading = {height}

[[size]]
name = "plate"
kind = "thickness"
reading = {plate}

[[size]]
name = "lug"
kind = "thickness"
reading = {lug}

[[size]]
name = "lug step"
kind = "step"
reading = {lug_step}
gauged = "depth rod"

[[size]]
name = "screw"
kind = "bore"
reading = {screw}
gauged = "inside jaws"
use = "slides"                     # the print gets a clearance hole, whatever this one scanned as
screw = "M4"
fit = "fine"

[[size]]
name = "nail"
kind = "bore"
reading = {nail}
gauged = "inside jaws"

[[size]]
name = "wire"
kind = "bore"
reading = {wire}
gauged = "pin"
tolerance = 0.15
use = "true"                       # opened through, though it scanned as two craters

[[size]]
name = "screw to nail"
kind = "centre distance"
between = ["screw", "nail"]
reading = {screw_to_nail}

[[size]]
name = "screw to wire"
kind = "centre distance"
between = ["screw", "wire"]
reading = {screw_to_wire}

[[size]]
name = "nail to wire"
kind = "centre distance"
between = ["nail", "wire"]
reading = {nail_to_wire}
"""


def main() -> None:
    """Write the exports and the sheets beside this file."""
    exports, sheet_folder = HERE / "exports", HERE / "sheets"
    exports.mkdir(exist_ok=True)
    sheet_folder.mkdir(exist_ok=True)
    made = {
        "latch_lever.stl": latch_lever(),
        "pump_rocker.obj": pump_rocker(),
        "fence_clip.ply": fence_clip(),
        "seat_armrest.3mf": seat_armrest(),
    }
    made["gate_hinge.stl"] = made["latch_lever.stl"][: len(made["latch_lever.stl"]) // 40]  # the exporter broke off
    for name, data in made.items():
        (exports / name).write_bytes(data)
        print(f"Wrote {name}, {len(data) / 1e6:.2f} MB")
    for part, text in sheets().items():
        (sheet_folder / f"{part}.toml").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
