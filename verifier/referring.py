"""From the name of a reference to the reference: the files a sheet or a command may name, read with our own limits."""

from collections.abc import Callable
from pathlib import Path

import numpy as np

from verifier.bench.last_pass import last_pass_beside
from verifier.comparing.reference import Reference, mirror_image_of
from verifier.correcting import copied_features, separate_scale_from_coat, true_copy
from verifier.correcting.observations import U_INSIDE_SHARE
from verifier.finding import find_features
from verifier.measuring import measure
from verifier.mending import mend
from verifier.reading import printable, read_scan
from verifier.reading.scan import Scan
from verifier.rulebook import Rules, Sheet
from verifier.rulebook.reference import LAST_PASS, file_named, reference_path

# From rules, part and SHA-256 of the scan in hand to the scan that the part last passed with.
LastPass = Callable[[Rules, str, str], Path | None]


def reference_for(
    scan: Scan,
    sheet: Sheet | None,
    rules: Rules,
    asked: Path | None,
    find_last_pass: LastPass = last_pass_beside,
) -> Reference | None:
    """What the scan is compared with: what was asked for, else what the sheet names; None where nobody did.

    asked : a file the person named on the command line, which may lie anywhere
    Raises VerifierError of every kind for a file that cannot be read or mended.
    """
    if asked is not None:
        return _of_file(asked, sheet, rules, as_mirror_image=False)
    if sheet is None or sheet.reference is None:
        return None
    if sheet.reference == LAST_PASS:
        return _of_last_pass(sheet, rules, find_last_pass(rules, sheet.part, scan.source.sha256))
    name, as_mirror_image = file_named(sheet.reference)
    path = reference_path(name, rules, where=f"{sheet.part}.toml")
    return _of_file(path, sheet, rules, as_mirror_image=as_mirror_image)


def _of_file(path: Path, sheet: Sheet | None, rules: Rules, *, as_mirror_image: bool) -> Reference:
    """A file as it is: its scale and its powder are its own, and known no better than any scan's."""
    solid, expected = mend(read_scan(path, rules, sheet)), rules.acceptance.expectation
    reference = Reference(
        printable(path.name),
        solid,
        find_features(solid),
        u_scale=expected.u_scale,
        u_coat_mm=expected.u_coat_mm,
        u_coat_inside_mm=float(np.hypot(expected.u_coat_mm, U_INSIDE_SHARE * expected.coat_mm)),
    )
    return mirror_image_of(reference) if as_mirror_image else reference


def _of_last_pass(sheet: Sheet, rules: Rules, path: Path | None) -> Reference | None:
    """The true copy of the scan that passed last, by today's sheet; None before the first PASS."""
    if path is None:
        return None
    solid = mend(read_scan(path, rules, sheet))
    features = find_features(solid)
    correction = separate_scale_from_coat(measure(features, sheet, rules), sheet, rules, features.noise)
    return Reference(
        f"{printable(path.name)}, the last PASS",
        true_copy(solid, correction, features),
        copied_features(features, correction),
        u_scale=correction.scale.u,
        u_coat_mm=correction.coat.u,
        u_coat_inside_mm=correction.coat_inside.u,
    )
