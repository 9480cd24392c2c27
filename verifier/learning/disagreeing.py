"""Whether the newest print fits the others, and whether prints drift."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from verifier.learning.figures import Figures
from verifier.learning.pooling import pool, student_t
from verifier.learning.terms import TERMS, Term, TermName

# Chance that a print like all others is called different, over all four terms together.
FALSE_ALARM = 0.01

# A straight line through fewer prints than this bends to any of them.
FEWEST_FOR_DRIFT = 6


@dataclass(frozen=True, slots=True)
class Disagreement:
    """The newest print's figure against the others'.

    others : the pooled figure without it; chance : of a gap at least this large in a print like the others
    """

    name: TermName
    print_number: int
    value: float
    others: float
    chance: float


@dataclass(frozen=True, slots=True)
class Drift:
    """A figure that grows or falls from print to print; chance : of a slope at least this steep without any drift."""

    name: TermName
    first: float
    last: float
    prints: int
    chance: float


def disagreements(figures: Figures) -> tuple[Disagreement, ...]:
    """Terms in which the newest print does not fit the others."""
    if not figures.prints:
        return ()
    newest = figures.prints[-1].number
    found = (_disagreement(name, figures.known[name].single, newest) for name in TERMS)
    return tuple(each for each in found if each is not None)


def _disagreement(name: TermName, single: Mapping[int, Term], newest: int) -> Disagreement | None:
    others = pool([term for number, term in single.items() if number != newest])
    if others is None or newest not in single:
        return None
    term = single[newest]
    mean_u = others.half_width / student_t(others.dof)
    spread = float(np.linalg.norm([term.u, others.between, mean_u]))
    chance = _chance_of(abs(term.value - others.value) / spread, others.dof)
    return Disagreement(name, newest, term.value, others.value, chance) if chance < FALSE_ALARM / len(TERMS) else None


def drifts(figures: Figures) -> tuple[Drift, ...]:
    """Terms that a straight line over the prints in their order explains better than chance does."""
    found = (_drift(name, list(figures.known[name].single.values())) for name in TERMS)
    return tuple(each for each in found if each is not None)


def _drift(name: TermName, prints: Sequence[Term]) -> Drift | None:
    """Weighted straight line, its slope's uncertainty from the scatter about it: Student's t with n - 2."""
    if len(prints) < FEWEST_FOR_DRIFT:
        return None
    values = np.array([term.value for term in prints])
    order = np.arange(len(prints), dtype=np.float64)
    weights = 1.0 / np.array([term.u for term in prints]) ** 2
    order -= np.average(order, weights=weights)
    mean, spread = float(np.average(values, weights=weights)), float(np.sum(weights * order**2))
    slope = float(np.sum(weights * order * values)) / spread
    scatter = float(np.sum(weights * (values - mean - slope * order) ** 2)) / (len(prints) - 2)
    # No surer than the readings: a scatter below what they let expect is luck.
    t = slope / np.sqrt(max(scatter, 1.0) / spread)
    chance = _chance_of(abs(t), len(prints) - 2)
    if chance >= FALSE_ALARM / len(TERMS):
        return None
    return Drift(name, mean + slope * float(order[0]), mean + slope * float(order[-1]), len(prints), chance)


def _chance_of(t: float, dof: int) -> float:
    """Chance of a gap at least this large, either way, by Student's distribution."""
    return 2.0 * float(special.stdtr(dof, -t))
