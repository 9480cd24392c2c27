"""What a part is compared with, ready to be compared."""

from dataclasses import dataclass, replace

from verifier.comparing.changes import Seen
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
    u_scale, u_coat_mm, u_coat_inside_mm : standard uncertainties of its scale, a share, and of the powder on one face
        and on one wall of a bore
    """

    name: str
    solid: Solid
    features: Features
    mirrored: bool = False
    u_scale: float = 0.0
    u_coat_mm: float = 0.0
    u_coat_inside_mm: float = 0.0

    @property
    def seen(self) -> Seen:
        """What was found on it, with what all of it shares."""
        return Seen(self.features, self.u_scale, self.u_coat_mm, self.u_coat_inside_mm)


def mirror_image_of(reference: Reference) -> Reference:
    """Its mirror image, whose features are found anew."""
    twin = mirrored(reference.solid)
    return replace(reference, solid=twin, features=find_features(twin), mirrored=True)
