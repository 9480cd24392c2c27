"""What the deviation says, in sentences."""

from collections.abc import Iterable, Sequence

from verifier.inspection import ChangeTable, DeviationTable, SpreadTable

# Regions are told where they are off by more than this, largest first, and at most so many: the report's file has all.
WORTH_TELLING_MM = 0.03
MOST_REGIONS = 6
# Below this a difference, sure as it may be, troubles nobody at a repair bench (common practice, no source).
WORTH_CHANGING_MM, WORTH_CHANGING_DEG = 0.05, 0.2
MOST_CHANGES = 8
# The step of the figures.
NOTHING_MM = 0.001


def deviation_in_words(deviation: DeviationTable | None) -> Iterable[str]:
    """Lines for the report: how well it lies, how far it is off as a whole, and where most."""
    if deviation is None:
        return
    yield _laid(deviation)
    if not deviation.sure:
        yield f"Not sure of the pose: {deviation.reason}. How far it is off is not told from a pose like that."
        return
    yield from _symmetry(deviation)
    yield _whole(deviation)
    yield from _sides(deviation)
    differ = [each for each in deviation.changes if each.significant and _matters(each)]
    told = {each.name for each in differ}
    yield from _regions(region for region in deviation.regions if region.name not in told)
    yield from _changes(differ)


def _laid(deviation: DeviationTable) -> str:
    mirror = "the mirror image of " if deviation.mirrored else ""
    return (
        f"Laid on {mirror}{deviation.reference}: {100 * deviation.overlap:.0f} % of the part lies on it, and "
        f"{100 * deviation.reference_overlap:.0f} % of it on the part."
    )


def _symmetry(deviation: DeviationTable) -> Iterable[str]:
    harmless = sum(other.harmless for other in deviation.others)
    if harmless:
        ways = "one other way" if harmless == 1 else f"{harmless} other ways"
        yield f"It lies as well {ways} round: the part is symmetric, and the figures stay the same."


def _whole(deviation: DeviationTable) -> str:
    shares = ", ".join(f"{100 * each.share:.0f} % within {each.limit_mm:g} mm" for each in deviation.within)
    whole = deviation.whole
    if max(abs(whole.least_mm), abs(whole.greatest_mm)) < NOTHING_MM:
        return "No difference to be seen."
    return f"Off by {whole.mean_mm:+.3f} mm on average (rms {whole.rms_mm:.3f} mm): {shares}."


def _sides(deviation: DeviationTable) -> Iterable[str]:
    for side, place, far in ((deviation.outside, "stands proud", "up"), (deviation.inside, "lies under", "down")):
        if side.largest_mm >= NOTHING_MM:
            share = f"{100 * side.share:.0f} % {place} by {side.mean_mm:.3f} mm on average"
            yield f"{share}, {far} to {side.largest_mm:.2f} mm."


def _regions(regions: Iterable[SpreadTable]) -> Iterable[str]:
    far = sorted((each for each in regions if abs(each.mean_mm) > WORTH_TELLING_MM), key=lambda r: -abs(r.mean_mm))
    for region in far[:MOST_REGIONS]:
        yield (
            f"{region.name}: {region.mean_mm:+.3f} mm on average, from {region.least_mm:+.2f} to "
            f"{region.greatest_mm:+.2f} mm over {region.area_mm2:.0f} mm²"
        )
    if len(far) > MOST_REGIONS:
        yield f"and {len(far) - MOST_REGIONS} more regions, in the report's JSON"


def _changes(differ: Sequence[ChangeTable]) -> Iterable[str]:
    for change in differ[:MOST_CHANGES]:
        yield _differs(change)
    if len(differ) > MOST_CHANGES:
        yield f"and {len(differ) - MOST_CHANGES} more differences, in the report's JSON"


def _matters(change: ChangeTable) -> bool:
    return abs(change.change) >= (WORTH_CHANGING_DEG if change.what == "tilt" else WORTH_CHANGING_MM)


def _differs(change: ChangeTable) -> str:
    spread = 2.0 * change.standard_uncertainty
    match change.what:
        case "gone":
            return f"{change.name} of the reference, {change.before:.2f} mm across, is not on this part."
        case "new":
            return f"{change.name}, {change.after:.2f} mm across, is not on the reference."
        case "worn":
            lies = "lower" if change.change > 0 else "higher"
            return f"{change.name} lies {abs(change.change):.2f} ± {spread:.2f} mm {lies} than on the reference."
        case "tilt":
            return f"{change.name} is turned by {change.change:.2f} ± {spread:.2f}° against the reference."
        case _:
            return (
                f"{change.name}: {change.what} {change.after:.2f} mm, {change.before:.2f} mm on the reference: "
                f"{change.change:+.2f} ± {spread:.2f} mm."
            )
