"""Diameters of balls, as flat calliper feet close on them."""

import numpy as np

from verifier.finding.feature import Ball, Features
from verifier.finding.fits import frame_along
from verifier.measuring.candidate import Candidate, root_sum_square
from verifier.mesh import Array
from verifier.rulebook.sheet import SheetRow


def ball_candidates(features: Features, row: SheetRow) -> list[Candidate]:
    """All balls; a socket's diameter is read with no calliper."""
    return [ball_candidate(ball) for ball in features.balls if ball.kind == "ball"]


def ball_candidate(ball: Ball) -> Candidate:
    """The diameter of one ball; which of its diameters was read, if it is not round, nobody knows."""
    u_mm = root_sum_square(ball.u_diameter_mm, ball.form_error_mm / np.sqrt(12.0))
    return Candidate(ball.diameter_mm, u_mm, 2, (ball.name,), _across(ball), min(1.0, 2.0 * ball.seen_share))


def _across(ball: Ball) -> Array:
    """Two opposite points, level with the middle of what was seen, (2, 3)."""
    sideways = frame_along(ball.towards)[0]
    return np.asarray(ball.centre_mm + 0.5 * ball.diameter_mm * np.stack([-sideways, sideways]))
