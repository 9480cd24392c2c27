"""How deviations are spread over the surface."""

import numpy as np
import pytest

from verifier.comparing.histogram import STEPS, histogram_of


def test_shares_add_up_to_the_whole_and_count_area_not_corners():
    spread = histogram_of(np.array([0.0, 0.04, -0.04]), np.array([8.0, 1.0, 1.0]))
    assert sum(spread.shares) == pytest.approx(1.0)
    assert spread.shares[STEPS // 2] == pytest.approx(0.8)
    assert spread.limit_mm == 0.05


def test_the_scale_holds_nearly_all_and_its_ends_take_the_rest():
    away = np.concatenate([np.linspace(-0.15, 0.15, 990), np.full(10, 3.0)])
    spread = histogram_of(away, np.ones(1000))
    assert spread.limit_mm == 0.2
    assert spread.shares[-1] == pytest.approx(0.01, abs=1e-9)


def test_turned_about_nought_the_spread_turns_about_its_middle():
    away = np.random.default_rng(7).normal(0.02, 0.05, 999)
    there, back = histogram_of(away, np.ones(999)), histogram_of(-away, np.ones(999))
    assert there.shares == pytest.approx(back.shares[::-1])


def test_nothing_compared_gives_noughts():
    assert histogram_of(np.empty(0), np.empty(0)).shares == (0.0,) * STEPS
