"""Tell the scanner's scale error from the powder on the part, and correct every size for both."""

from collections.abc import Sequence

import numpy as np

from verifier.correcting.advice import give_advice, quoted
from verifier.correcting.correction import Corrected, Correction
from verifier.correcting.evidence import Evidence, gather_evidence
from verifier.correcting.misreadings import Misread, find_misread, smallest_errors_mm
from verifier.correcting.terms import Terms, fit_terms
from verifier.correcting.waves import covariance_by_waves
from verifier.correcting.wording import SIGNIFICANT, coat_term, inside_term, scale_term
from verifier.finding.feature import Noise
from verifier.measuring.size import Size
from verifier.mesh import Array
from verifier.powder import powder_mm
from verifier.rulebook.rules import Expectation, Rules
from verifier.rulebook.sheet import Sheet
from verifier.rulebook.size_kinds import SHAPE_KINDS
from verifier.uncertainty import same_coverage_factor


def separate_scale_from_coat(
    sizes: Sequence[Size], sheet: Sheet, rules: Rules, noise: Noise | None = None
) -> Correction:
    """Find scale and coat from the rows that were read, and give every size as it would be without them.

    sizes : one for each row of the sheet, in any order
    noise : of the scan; None where it is not known to have long waves

    Model: measured = scale * true + walls * coat, with a coat of its own inside bores and slots. All terms stand in
    every corrected size with their covariance, also where they are small: dropping a small one took the coverage of
    95 % intervals down to 57-62 %. Every row is
    corrected by the fit that leaves it out, because a row 0.30 off shows 0.17 in a fit that has followed it.
    What long waves move all walls by alike is in the coat, and should be while sizes are corrected for it: they make
    the coat that is told less sure, and no corrected size.
    """
    expected, decision = rules.acceptance.expectation, rules.acceptance.decision
    evidence = gather_evidence(sizes, sheet, rules)
    misread = find_misread(evidence, expected, decision.family_error)
    sound = evidence.only(misread.sound)
    terms = fit_terms(sound, expected)
    enlarged = _enlarged(terms) + covariance_by_waves(sizes, sound, terms, noise)
    u_scale, u_coat_mm, _ = (float(u) for u in np.sqrt(np.diag(enlarged)))
    coat = coat_term(terms, u_coat_mm, len(evidence))
    return Correction(
        scale=scale_term(terms, u_scale, len(evidence)),
        coat=coat,
        coat_inside=inside_term(terms, enlarged, applied=coat.applied),
        covariance=enlarged,
        sizes=_correct_all(sizes, sheet, evidence, misread, expected, decision.family_error),
        chi2=terms.chi2,
        dof=terms.dof,
        separable=terms.separable,
        advice=give_advice(sizes, sheet, evidence, terms, misread, expected, enlarged),
    )


def _enlarged(terms: Terms) -> Array:
    """Covariance of the terms by the scatter that was found, (3, 3); twice the root covers 95 % of few readings too."""
    few = same_coverage_factor(SIGNIFICANT, terms.t_dof) / SIGNIFICANT
    return terms.covariance * (few * terms.understatement) ** 2


def _correct_all(
    sizes: Sequence[Size],
    sheet: Sheet,
    evidence: Evidence,
    misread: Misread,
    expected: Expectation,
    family_error: float,
) -> tuple[Corrected, ...]:
    """Every size that was measured, in the order of sizes."""
    shapes = {row.name for row in sheet.rows if row.kind in SHAPE_KINDS}
    everyone = fit_terms(evidence, expected)
    unseen = smallest_errors_mm(evidence, everyone, family_error)
    sound = evidence.only(misread.sound)
    all_sound = fit_terms(sound, expected)
    corrected = []
    for size in sizes:
        if size.measured_mm is None:
            continue
        if size.name in shapes:
            corrected.append(_unaltered(size))
            continue
        others = fit_terms(sound.without(size.name), expected) if size.name in sound.names else all_sound
        row = evidence.names.index(size.name) if size.name in evidence.names else None
        corrected.append(
            _correct(
                size,
                others,
                enlarge_by=all_sound.understatement,
                dof=all_sound.t_dof,
                smallest_error_mm=np.inf if row is None else float(unseen[row]),
                z=0.0 if row is None else float(everyone.z[row]),
                rivals=misread.group_of(size.name),
            )
        )
    return tuple(corrected)


def _correct(
    size: Size,
    terms: Terms,
    *,
    enlarge_by: float,
    dof: float,
    smallest_error_mm: float,
    z: float,
    rivals: tuple[str, ...],
) -> Corrected:
    """(measured - walls * coat) / scale, with the uncertainty of all of these (JCGM 100:2008, 5.2.2)."""
    assert size.measured_mm is not None
    value_mm = (size.measured_mm - powder_mm(size.walls, terms.coat_mm, terms.coat_inside_mm)) / terms.scale
    by_terms = np.array([-value_mm, -max(size.walls, 0.0), -min(size.walls, 0.0)]) / terms.scale
    variance = (size.u_mm / terms.scale) ** 2 + by_terms @ terms.covariance @ by_terms
    return Corrected(
        name=size.name,
        corrected_mm=float(value_mm),
        u_mm=float(enlarge_by * np.sqrt(variance)),
        dof=dof,
        smallest_error_mm=smallest_error_mm,
        z=z,
        suspect=bool(rivals),
        reason=_suspicion(size.name, rivals),
    )


def _unaltered(size: Size) -> Corrected:
    """An angle or a form: neither scale nor an even coat turns one face against another, or bends it."""
    assert size.measured_mm is not None
    return Corrected(size.name, size.measured_mm, size.u_mm, np.inf, np.inf, 0.0, suspect=False)


def _suspicion(name: str, rivals: tuple[str, ...]) -> str:
    if not rivals:
        return ""
    if len(rivals) == 1:
        return "The reading does not fit the others and was left out"
    others = [other for other in rivals if other != name]
    return f"Either this reading or {quoted(others)} does not fit the others; all of these were left out"
