"""Pages to look at, what a reader sees of one as text, and one opened in a browser."""

from html.parser import HTMLParser
from pathlib import Path

import numpy as np
from playwright.sync_api import Browser, Page

from verifier.inspection import HistogramTable, Inspection
from verifier.reporting import page
from verifier.reporting.join_table import join_table
from verifier.reporting.page import Pictured
from verifier.reporting.shown import shown_mesh
from verifier.reporting.still import painted_png
from verifier.rulebook import draft_sheet_text
from verifier.rulebook.draft import DraftRow

from .examples import PASSED, UNDECIDED
from .test_deviation_words import deviation
from .test_join_words import REPORT
from .test_shown import lever

SHOWN = shown_mesh(lever(1.0), at_most=20_000)
SEEN = Pictured(SHOWN)
POINTS_MM = np.array([(0.0, 0.0, 5.0)])

DRAFTED = draft_sheet_text(
    "latch_lever", [DraftRow("wall thickness", "thickness", 11.98), DraftRow("overall length", "overall", 120.6)]
)

DOUBTFUL = UNDECIDED.model_copy(update={"join": join_table(REPORT)})
WAY_PNGS = tuple(painted_png(SHOWN, np.array([shade] * 3), [np.eye(3)], 56, 27) for shade in ((200,) * 3, (90,) * 3))
MEASURED = 'part = "latch_lever"\ndescription = "north"\n\n[[size]]\nname = "a"\nkind = "overall"\nalong = "length"\n'

SPREAD = HistogramTable(limit_mm=0.5, shares=(0.0,) * 5 + (0.2,) + (0.0,) * 4 + (0.6, 0.2) + (0.0,) * 9)
DEVIATED = PASSED.model_copy(update={"deviation": deviation(histogram=SPREAD)})
# The far end stands 0.5 mm proud, the near end lies 0.5 mm inside; the very tip was not compared.
AWAY_MM = np.where(SHOWN.vertices_mm[:, 0] > 39.0, np.nan, np.sign(SHOWN.vertices_mm[:, 0]) * 0.5)
COLOURED = Pictured(SHOWN, SHOWN, away_mm=AWAY_MM)

# Of all pixels of the picture, those of each colour.
PIXELS = """() => {
  const counts = {measured: 0, filled: 0, rebuilt: 0, nothing: 0};
  const {data} = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
  for (let at = 0; at < data.length; at += 4) {
    const [r, g, b, a] = data.slice(at, at + 4);
    if (a === 0) counts.nothing += 1;
    else if (r > 1.8 * b) counts.filled += 1;
    else if (b > 1.8 * r) counts.rebuilt += 1;
    else counts.measured += 1;
  }
  return counts;
}"""

# Waits until the picture is drawn anew.
DRAWN = "() => new Promise((drawn) => requestAnimationFrame(() => requestAnimationFrame(drawn)))"


class Words(HTMLParser):
    """The text a reader sees, and every address the page names."""

    def __init__(self) -> None:
        super().__init__()
        self.text, self.addresses, self.inside = "", [], ""

    def handle_starttag(self, tag, attrs):
        self.inside = tag
        self.addresses += [value for key, value in attrs if key in ("src", "href", "action", "data", "poster")]

    def handle_data(self, data):
        if self.inside not in ("script", "style"):
            self.text += data


def read(html: str) -> Words:
    words = Words()
    words.feed(html)
    return words


def squeezed(text: str) -> str:
    return " ".join(text.split())


class Opened:
    """A page in the browser, with what the browser complained of and asked for."""

    def __init__(self, browser: Browser, folder: Path) -> None:
        self.file = folder / "latch_lever.report.html"
        self.address = self.file.as_uri()
        self.complaints: list[str] = []
        self.requests: list[str] = []
        self.tab: Page = browser.new_page(viewport={"width": 1000, "height": 700})
        self.tab.on("console", lambda message: self.complaints.append(message.text))
        self.tab.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.tab.on("request", lambda request: self.requests.append(request.url))

    def show(
        self, inspection: Inspection, pictured: Pictured = SEEN, *, width: int = 1000, scheme: str = "light"
    ) -> Page:
        self.file.write_bytes(page.render(inspection, pictured).encode())
        self.tab.set_viewport_size({"width": width, "height": 700})
        self.tab.emulate_media(color_scheme=scheme)
        self.tab.goto(self.address)
        self.tab.wait_for_selector("#picture.drawn")
        return self.tab
