"""What would settle a row that lies too near to its limit."""

import numpy as np

from verifier.correcting.correction import Corrected, Correction
from verifier.judging.decision import distance_to_limit
from verifier.measuring.size import Size

# A size this near to its limit, as a share of its uncertainty, would want a hundred times the measuring: no remedy.
HOPELESS_SHARE = 0.1

# Measured to this share of what its limits leave, a size that lies on one of them is as well known as helps anybody;
# common practice, no source.
FAIR_SHARE = 0.25

# Orientations beyond this many are not scanned by anybody. Common practice, no source.
MOST_ORIENTATIONS = 12


def what_would_decide(
    size: Size, corrected: Corrected, correction: Correction, least: float, greatest: float, k: float
) -> str:
    """The one thing that makes the uncertainty small enough, with the figure it has to reach; a sentence."""
    gap = abs(distance_to_limit(corrected.corrected_mm, least, greatest))
    reached = k * corrected.u_mm
    apart = greatest - max(least, 0.0)
    need = f"'{size.name}' is settled once its uncertainty is ± {gap:.3f} or less (now ± {reached:.3f}): "
    if gap < HOPELESS_SHARE * reached:
        gap = FAIR_SHARE * apart
        if reached < gap:
            return f"'{size.name}' lies on its limit, where no measurement settles it: try a print in place."
        need = f"'{size.name}' is known to ± {reached:.3f} only, and its limits lie {apart:.3f} apart: "
    if np.isfinite(corrected.dof):
        return need + "the readings scatter more than scan and calliper explain, so read all sizes once more."
    return need + _smaller_share(size, corrected, correction, gap / reached)


def _smaller_share(size: Size, corrected: Corrected, correction: Correction, wanted_ratio: float) -> str:
    """Name the larger contribution: the scan of this size, or scale and coat."""
    from_scan = size.u_mm / correction.scale.value
    if from_scan**2 >= 0.5 * corrected.u_mm**2:
        return _more_orientations(wanted_ratio)
    if not correction.separable:
        return "scale and coat have to be told apart. " + (correction.advice[0] if correction.advice else "")
    if size.walls < 0:
        return "read more bores or slots as well, since powder may lie thinner in them than on the faces."
    return "read more sizes of different lengths and kinds, with a better calliper if there is one."


def _more_orientations(wanted_ratio: float) -> str:
    """A mean of n scans is surer by the root of n."""
    times = int(np.ceil(1.0 / wanted_ratio**2))
    if times > MOST_ORIENTATIONS:
        return "scan it nearer or with a finer setting."
    return f"scan it in {times} times as many orientations, or nearer."
