"""Where the mended solid is larger or smaller than the scan was, and which step made it so."""

import numpy as np

from verifier.mending.solid import Box, MendStep, Solid
from verifier.mesh import Array, Mesh, box_mm

# A change of the overall size from this on has its reason told: what the best scans of this kind scatter by.
TOLD_FROM_MM = 0.05


def size_changes(before: Mesh, solid: Solid) -> tuple[str, ...]:
    """A sentence for each of the export's axes along which the overall size changed, with the steps that did it.

    A step is to blame when what it took away or made reaches beyond the smaller of the two boxes there.
    """
    sound = before.vertices_mm
    if not np.isfinite(sound).all():
        sound = sound[np.isfinite(sound).all(axis=1)]
    if len(sound) == 0:
        return ()
    was, now = box_mm(sound), box_mm(solid.mesh.vertices_mm)
    changes = np.ptp(now, axis=0) - np.ptp(was, axis=0)
    return tuple(_told(axis, was, now, solid.steps) for axis in np.flatnonzero(np.abs(changes) > TOLD_FROM_MM).tolist())


def _told(axis: int, was: Array, now: Array, steps: tuple[MendStep, ...]) -> str:
    low, high = max(was[0, axis], now[0, axis]), min(was[1, axis], now[1, axis])
    reach = 0.5 * TOLD_FROM_MM
    blamed = [step.what for step in steps if step.box_mm is not None and _beyond(step.box_mm, axis, low, high, reach)]
    why = ", ".join(dict.fromkeys(blamed)) or "no step accounts for it, so look at the part"
    before, after = float(np.ptp(was[:, axis])), float(np.ptp(now[:, axis]))
    return f"Along {'xyz'[axis]} the export was {before:.2f} mm long and the part is {after:.2f} mm: {why}."


def _beyond(box: Box, axis: int, low: float, high: float, reach_mm: float) -> bool:
    return box[0][axis] < low - reach_mm or box[1][axis] > high + reach_mm
