import numpy as np
import pytest

from verifier.finding.feature import Noise
from verifier.finding.profile import profile_of

QUIET = Noise(1e-6, 0.0, 1.0)


def _wall(away):
    turn, z = (a.ravel() for a in np.meshgrid(np.linspace(0, 2 * np.pi, 120, endpoint=False), np.linspace(-4, 4, 30)))
    return turn, z, away(turn, z), 3.0 * np.column_stack([np.cos(turn), np.sin(turn), z / 3.0])


@pytest.mark.parametrize("lobes", [2, 3])
def test_a_pin_rests_on_the_lobes_of_a_bore(lobes):
    """A radius R + a cos k t holds a circle of R - a and is held by one of R + a (closed form)."""
    wall = _wall(lambda turn, z: 0.05 * np.cos(lobes * turn + 0.4))
    bore, boss = (profile_of(*wall, QUIET, bore=is_bore) for is_bore in (True, False))
    # 72 angles a turn miss a lobe's peak by at most 0.05 (1 - cos(3 x 2.5 deg)) = 0.0004.
    assert bore.entry_mm == pytest.approx(-0.05, abs=5e-4)
    assert boss.entry_mm == pytest.approx(0.05, abs=5e-4)
    assert bore.roundness_mm == pytest.approx(0.1, abs=1e-3)


def test_a_tapered_bore_takes_the_pin_of_its_narrow_end():
    wall = _wall(lambda turn, z: 0.01 * z)
    assert profile_of(*wall, QUIET, bore=True).entry_mm == pytest.approx(-0.04, abs=1e-4)


def test_scatter_alone_does_not_narrow_a_bore():
    rng = np.random.default_rng(6)
    calmed, raw = [], []
    for _ in range(60):
        wall = _wall(lambda turn, z: rng.normal(scale=0.05, size=len(turn)))
        calmed.append(profile_of(*wall, Noise(0.05, 0.0, 1.0), bore=True).entry_mm)
        raw.append(profile_of(*wall, QUIET, bore=True).entry_mm)
    assert np.mean(raw) < -0.0015  # lobes and taper taken at their word
    assert np.mean(calmed) > 0.25 * np.mean(raw)
    assert np.mean(np.array(calmed) == 0.0) > 0.7  # three terms, each believed once in twenty
