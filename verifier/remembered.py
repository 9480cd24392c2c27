"""The command `history`: what the bench remembers, on the terminal, as a page or as CSV."""

from contextlib import closing
from itertools import groupby
from pathlib import Path

from verifier.bench.durable import write_file
from verifier.bench.history import History
from verifier.bench.layout import Bench, open_bench
from verifier.bench.past import part_past, shop_past
from verifier.bench.status import history_of
from verifier.errors import UnknownName, WrongUsage
from verifier.figures_shown import on_screen
from verifier.remembering.past import ShopPast
from verifier.reporting import history_csv, history_page
from verifier.reporting.history_told import part_parts, shop_parts
from verifier.reporting.terminal import cleaner
from verifier.reporting.thumbnail import data_uri
from verifier.rulebook import load_rules
from verifier.screen import Screen

# A small picture is about 10 kB, so sixty of them keep the page under a megabyte.
SMALL_PX, LARGE_PX, MOST_PICTURES = 240, 1200, 60


def show_history(part: str | None, bench: Path, screen: Screen, *, as_page: bool, as_csv: bool) -> None:
    """Show the past of the shop, or of one part."""
    place = open_bench(bench)
    with closing(history_of(place)) as history:
        if part is not None and not history.scans_of(part):
            raise _unknown(part, history, place)
        if as_csv:
            screen.say(_csv(part, history).rstrip("\r\n"))
        elif not history.scans():
            screen.say(_nothing_yet(place))
        elif as_page:
            screen.say(f"Wrote {_write_page(part, place, history)}")
        else:
            screen.say(_told(part, place, history, screen))


def _told(part: str | None, place: Bench, history: History, screen: Screen) -> str:
    clean, width, ascii_only = cleaner(screen.ascii_only), screen.width, screen.ascii_only
    if part is not None and (past := part_past(place, history, part)) is not None:
        return on_screen(part_parts(past, width, clean, ascii_only=ascii_only), screen)
    past_of_all = shop_past(place, history, load_rules(place.rules))
    return on_screen(shop_parts(past_of_all, width, clean, ascii_only=ascii_only), screen)


def _write_page(part: str | None, place: Bench, history: History) -> Path:
    """The page lies in the bench, where its links to the reports hold. Raises WrongUsage where it cannot be written."""
    past = shop_past(place, history, load_rules(place.rules), only=part)
    page = place.root / ("history.html" if part is None else f"{part}.history.html")
    try:
        write_file(page, history_page.render(past, _pictures(past, part), only=part).encode())
    except OSError as error:
        do = "Make room on the disk, or let the folder be written to"
        raise WrongUsage(f"the page cannot be written ({error.strerror})", where=str(page), do=do) from error
    return page


def _pictures(past: ShopPast, only: str | None) -> dict[str, str]:
    """Pictures of the newest parts, small ones where there are many."""
    wide = SMALL_PX if only is None else LARGE_PX
    shown = (part for part in past.parts[:MOST_PICTURES] if part.picture)
    return {part.name: data_uri(Path(part.picture).read_bytes(), wide) for part in shown}


def _csv(part: str | None, history: History) -> str:
    scans = history.scans() if part is None else history.scans_of(part)
    sizes = {job: tuple(rows) for job, rows in groupby(history.sizes(), lambda size: size.job)}
    return history_csv.render((scan, sizes.get(scan.job, ())) for scan in scans)


def _nothing_yet(place: Bench) -> str:
    do = f"Drop a scan into {place.inbox} and start: verifier watch {place.root}"
    return f"Nothing has been measured on this bench yet. {do}"


def _unknown(part: str, history: History, place: Bench) -> UnknownName:
    names = sorted({scan.part for scan in history.scans()})
    do = f"Its parts are {', '.join(names[:8])}" if names else _nothing_yet(place).partition(". ")[2]
    return UnknownName("no scan of this part was measured on this bench", where=part, do=do)
