"""What a part is compared with, ready to be compared."""

from dataclasses import dataclass

from verifier.comparing.mirrored import mirrored
from verifier.finding import find_features
from verifier.finding.feature import Features
from verifier.mending.solid import Solid


@dataclass(frozen=True, slots=True)
class Reference:
    """A mended solid and where it comes from.

    name : what the report calls it
    mirrored : it is the mirror image of that file
    features : found on the solid as it is compared
    """

    name: str
    solid: Solid
    features: Features
    mirrored: bool = False


def reference_of(name: str, solid: Solid, features: Features, *, as_mirror_image: bool) -> Reference:
    """The solid, or its mirror image, whose features are then found anew."""
    if not as_mirror_image:
        return Reference(name, solid, features)
    twin = mirrored(solid)
    return Reference(name, twin, find_features(twin), mirrored=True)
