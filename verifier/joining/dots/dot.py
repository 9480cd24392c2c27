"""Marker dots of one scan: small round stickers or lumps of putty, seen as bumps or left as round holes."""

from dataclasses import dataclass, replace

import numpy as np

from verifier.comparing.pose import moved, turned
from verifier.mesh import Array, BoolArray, IntArray

# Dots are 3 to 6 mm across and 0.05 to 0.3 mm thick, domed ones up to 1 mm (common practice, no source); a scan blurs
# a rim by about half of its spacing.
LEAST_DIAMETER_MM, MOST_DIAMETER_MM = 2.6, 6.8
LEAST_HEIGHT_MM, MOST_HEIGHT_MM = 0.045, 1.1
# Dots are of one roll: so many alike, or none is believed.
LEAST_ALIKE = 3
# Those of one roll come out this much alike, in mm across and as a factor of height.
SAME_DIAMETER_MM, SAME_HEIGHT = 0.5, 1.6
# More of one kind are not needed to place a scan, and all pairs of them are looked at.
MOST_DOTS = 30


@dataclass(frozen=True, slots=True)
class Dots:
    """Dots on one scan, in its own frame.

    at_mm, facing : (n, 3) middles on the surface beneath, and the way it faces there
    diameter_mm : (n,) at half the height
    height_mm : (n,) above the surface around; nought for a hole
    """

    at_mm: Array
    facing: Array
    diameter_mm: Array
    height_mm: Array

    def __len__(self) -> int:
        return len(self.at_mm)

    def of(self, chosen: IntArray | BoolArray) -> "Dots":
        """Some of them."""
        return Dots(self.at_mm[chosen], self.facing[chosen], self.diameter_mm[chosen], self.height_mm[chosen])

    def placed(self, pose: Array) -> "Dots":
        """The same in another frame, by a (4, 4) pose that may hold a scale."""
        facing = turned(pose, self.facing)
        facing /= np.maximum(np.linalg.norm(facing, axis=1, keepdims=True), 1e-12)
        return replace(self, at_mm=moved(pose, self.at_mm), facing=facing)

    def and_more(self, others: "Dots") -> "Dots":
        """These and others."""
        return Dots(
            np.concatenate([self.at_mm, others.at_mm]),
            np.concatenate([self.facing, others.facing]),
            np.concatenate([self.diameter_mm, others.diameter_mm]),
            np.concatenate([self.height_mm, others.height_mm]),
        )


NO_DOTS = Dots(np.empty((0, 3)), np.empty((0, 3)), np.empty(0), np.empty(0))


def alike(dots: Dots) -> Dots:
    """The largest group of one size; none where too few are alike."""
    if len(dots) < LEAST_ALIKE:
        return NO_DOTS
    near = np.abs(dots.diameter_mm[:, None] - dots.diameter_mm) < SAME_DIAMETER_MM
    higher = np.maximum(dots.height_mm[:, None], dots.height_mm)
    lower = np.minimum(dots.height_mm[:, None], dots.height_mm)
    group = near & (higher <= SAME_HEIGHT * lower)
    most = int(group.sum(axis=1).argmax())
    found = dots.of(np.flatnonzero(group[most])[:MOST_DOTS])
    return found if len(found) >= LEAST_ALIKE else NO_DOTS
