"""Kills at random moments; random_kills.py does the same for as long as one likes."""

import random
import tempfile
from pathlib import Path

from random_kills import check, feed_and_kill


def test_ten_kills_at_random_moments_lose_double_and_halve_nothing(quick_place):
    check(*feed_and_kill(Path(tempfile.mkdtemp(dir=quick_place)), kills=10, chance=random.Random(20)))
