"""What long waves of a scan do to its coat: they move walls that lie near each other alike, as powder does."""

from collections.abc import Sequence

import numpy as np

from verifier.correcting.evidence import Evidence
from verifier.correcting.terms import Terms
from verifier.correcting.wording import SIGNIFICANT
from verifier.finding.feature import Noise
from verifier.measuring.size import Size
from verifier.mesh import Array
from verifier.uncertainty import same_coverage_factor

# A small flat shows no more of a long wave than its bend, and lets it look shorter than it is. Where views are joined
# and powder lies unevenly it is so for 15 mm and more (judgement, no source).
LEAST_REACH_MM = 15.0
# Fewer patches than this tell nothing of how large the waves are, and Student's factor has no bound.
FEWEST_PATCHES = 2.0


def covariance_by_waves(sizes: Sequence[Size], sound: Evidence, terms: Terms, noise: Noise | None) -> Array:
    """What long waves add to the covariance of scale, coat and coat inside, (3, 3).

    sound : the n readings behind the terms

    The fit takes its rows for independent. What waves share among them is added, and both their parts are enlarged by
    Student's factor, since waves are known from the few patches that the flats have room for.
    """
    if noise is None or noise.wave_mm == 0.0 or len(sound) == 0:
        return np.zeros((3, 3))
    by_name = {size.name: size for size in sizes}
    reach_mm = max(noise.wavelength_mm, LEAST_REACH_MM)
    shared = shared_by_waves_mm2([by_name[name] for name in sound.names], noise.wave_mm, reach_mm)
    patches = max(FEWEST_PATCHES, noise.seen_on_mm2 / (2.0 * np.pi * reach_mm**2))
    enlarge_by = same_coverage_factor(SIGNIFICANT, patches) / SIGNIFICANT
    design = np.column_stack([sound.reading_mm, sound.outside_walls, sound.inside_walls])
    gains = terms.covariance @ design.T / sound.u_mm**2
    in_the_fit = np.diag(np.diag(shared))
    return np.asarray(gains @ (enlarge_by**2 * shared - in_the_fit) @ gains.T)


def shared_by_waves_mm2(sizes: Sequence[Size], wave_mm: float, reach_mm: float) -> Array:
    """Covariance of n sizes by waves that move their walls, (n, n); no more of a size than its stated uncertainty.

    Each of a size's two ends bears half of its walls; walls r apart move alike by exp(-r^2 / 2 reach^2).
    """
    ends_mm = np.array([size.points_mm[[0, -1]] for size in sizes])
    half_walls = np.array([0.5 * size.walls for size in sizes])
    square_mm2 = ((ends_mm[:, None, :, None] - ends_mm[None, :, None, :]) ** 2).sum(axis=-1)
    alike = np.exp(-square_mm2 / (2.0 * reach_mm**2)).sum(axis=(2, 3))
    shared = wave_mm**2 * np.outer(half_walls, half_walls) * alike
    own, stated = np.diag(shared), np.array([size.u_mm for size in sizes]) ** 2
    part = np.sqrt(np.minimum(1.0, np.divide(stated, own, out=np.ones_like(own), where=own > 0.0)))
    return np.asarray(shared * np.outer(part, part))
