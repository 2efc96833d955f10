"""Takes the pictures that docs show of the panel: ``python -m tests.panel.pictures docs/img``, from the root.

``--all`` takes every step at four widths, light and dark, ``--whole`` each page down to its end, and ``--look
glove`` one look alone. A picture that is in the folder already is kept: begun again, the command goes on
where a busy computer ended it. ``--anew`` takes all of them again. Some waits are times on purpose: the
curves show seconds of movement.
"""

from __future__ import annotations

import argparse
import io
import re
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import sync_playwright
from strokebench.book.book import Book

from tests.helpers.process import ROOT, strokebench
from tests.helpers.witnessed_bench import Witness
from tests.panel.conftest import FLAGS, chromium, clear_fault, comes, open_page, reach_bench, supply_on
from tests.panel.stage import PanelProcess, panel_on_witness

PATIENT = """import sys
from strokebench.panel import deadman
deadman.LIMIT_S = 5.0
from strokebench.cli import main
sys.exit(main())
"""
"""The panel with another dead-man: a page that is photographed falls silent for longer than 0.4 s."""
BUSY = "This computer is too busy for pictures: the dead-man stopped the part each time. Begin again later."
TRIES = 8
SIZES = {320: 640, 390: 844, 1280: 960, 1920: 1080}
LOOKS: dict[str, dict[str, str]] = {
    "light": {"color_scheme": "light"},
    "dark": {"color_scheme": "dark"},
    "projector": {},
    "glove": {},
    "forced": {"forced_colors": "active"},
}
"""What the system says of itself. What it has no word for is chosen on the page."""
USUAL = ("light", "dark")
COLOURS = 128
SHOWN = frozenset(
    re.findall(
        r"panel-[\w-]+\.png",
        "".join(page.read_text(encoding="utf-8") for page in (ROOT / "docs").rglob("*.md")),
    )
)
"""The pictures that pages of the docs show."""


def save(taken: bytes, path: Path) -> None:
    """Write a picture with a palette, which makes its file a third as long."""
    whole = Image.open(io.BytesIO(taken)).convert("RGB")
    whole.quantize(COLOURS, method=Image.Quantize.MAXCOVERAGE, kmeans=2).save(path, optimize=True)


class Camera:
    """Takes pictures of one size and look into a folder, those that ``wanted`` says yes to."""

    def __init__(
        self, folder: Path, width: int, look: str, wanted: Callable[[Path], bool], *, whole: bool = False
    ) -> None:
        self._size = {"width": width, "height": SIZES[width]}
        self._look = look
        self._whole = whole
        self._end = f"{width}.png" if look == "light" else f"{width}-{look}.png"
        self._folder = folder
        self._wanted = wanted

    def wants(self, *names: str) -> bool:
        """Tell whether one of these is still to be taken."""
        return any(self._wanted(self._path(name)) for name in names)

    def context(self, browser: Any) -> Any:
        """Return a new session of the browser, of this size and look."""
        context = browser.new_context(viewport=self._size, **LOOKS[self._look])
        if not LOOKS[self._look]:
            context.add_init_script(f"localStorage.setItem('panel-look', '{self._look}')")
        return context

    def take(self, page: Any, name: str) -> None:
        if self.wants(name):
            self.keep(self.shot(page), name)

    def shot(self, page: Any) -> bytes:
        return bytes(page.screenshot(full_page=self._whole))

    def keep(self, taken: bytes, name: str) -> None:
        """Put a picture there that was taken before it was clear that it is good."""
        if self.wants(name):
            save(taken, self._path(name))

    def _path(self, name: str) -> Path:
        return self._folder / f"panel-{name}-{self._end}"


def _by_hand(page: Any, _witness: Witness, camera: Camera) -> bool:
    """Move to and fro; True when the part moved while the picture was taken."""
    supply_on(page)
    for key in ("ArrowRight", "ArrowLeft"):
        page.keyboard.down(key)
        page.wait_for_timeout(900)
        page.keyboard.up(key)
        page.wait_for_timeout(300)
    page.keyboard.down("ArrowRight")
    page.wait_for_timeout(500)
    moved = page.get_attribute("body", "data-phase") == "jog"
    if moved:
        camera.take(page, "by-hand")
    page.keyboard.up("ArrowRight")
    page.keyboard.press("Escape")
    page.wait_for_timeout(1500)  # the part swings back to its rest
    return moved


def _fault(page: Any, witness: Witness, camera: Camera) -> bool:
    """Open the emergency line and close it again."""
    supply_on(page)
    witness.emergency(True)
    page.wait_for_selector('[data-show="fault"]:visible')
    page.wait_for_timeout(500)
    camera.take(page, "fault")
    witness.emergency(False)
    clear_fault(page)
    return True


def _procedure(page: Any, _witness: Witness, camera: Camera) -> bool:
    """Run it to its end; False when the page's silence stopped it."""
    page.fill("#f-customer", "Kestrel Garage, order 1182")
    page.fill("#f-note", "idle hunts when warm")
    page.wait_for_selector('[data-do="run"]:enabled', timeout=20_000)
    page.evaluate("() => window.scrollTo(0, 0)")
    page.click('[data-do="run"]')
    if not comes(page, 'body[data-phase="run"]', 20.0):
        return False
    page.wait_for_timeout(9_000)
    if page.get_attribute("body", "data-phase") != "run":
        return False
    running = camera.shot(page)
    page.wait_for_selector(".findings .verdict", timeout=90_000)
    if not page.is_visible(".findings .verdict.pass"):
        return False
    camera.keep(running, "procedure")
    page.evaluate("() => document.querySelector('.findings').scrollIntoView()")
    page.wait_for_timeout(300)
    camera.take(page, "findings")
    return True


STEPS = (
    (_by_hand, ("by-hand",)),
    (_fault, ("fault",)),
    (_procedure, ("procedure", "findings")),
)
"""What is done, and the pictures that are taken of it."""


def _moving(page: Any, witness: Witness, camera: Camera) -> None:
    """Take what is still missing of a part that moves."""
    for step, names in STEPS:
        for _ in range(TRIES):
            if not camera.wants(*names):
                break
            reach_bench(page)
            if page.is_visible('[data-show="fault"]'):
                clear_fault(page)
            step(page, witness, camera)
        else:
            raise SystemExit(BUSY)


def _still(page: Any, panel: PanelProcess, camera: Camera, runs: list[int]) -> None:
    """The wiring, and what is over: job book, a run with a stretch chosen, a comparison, a trend, jobs."""
    page.goto(f"{panel.url}/connect?part=throttle-body")
    page.wait_for_function("() => [...document.images].every((image) => image.complete)")
    camera.take(page, "wiring")
    page.goto(f"{panel.url}/run/{runs[0]}")
    page.wait_for_selector("[data-drawn]")
    page.select_option("#f-segment", index=14)
    page.wait_for_selector("[data-numbers] tbody tr")
    page.evaluate("() => document.querySelector('.instrument').scrollIntoView()")
    page.wait_for_timeout(800)
    camera.take(page, "run")
    for path, name in PAGES:
        page.goto(panel.url + path.format(*runs))
        page.wait_for_function("() => !document.querySelector('.says').textContent.startsWith('Connecting')")
        if name in ("compare", "trend"):
            page.wait_for_selector(".chart canvas")
            page.wait_for_timeout(800)
        camera.take(page, name)


PAGES = (
    ("/book", "book"),
    ("/compare?a={}&b={}", "compare"),
    ("/trend?part=throttle-body&finding=travel", "trend"),
    ("/jobs", "jobs"),
    ("/jobs/1", "job"),
    ("/join", "join"),
    ("/nowhere", "error"),
)
STILL = ("wiring", "run", *(name for _, name in PAGES))


def _book(book: Path) -> list[int]:
    """Put a run of a throttle body that binds, one of it afterwards, and a job of both into the book.

    They are made in virtual time. Returns their numbers.
    """
    numbers = []
    for note, defect in (("idle hunts when warm", ("--inject", "binding:severe")), ("bore cleaned", ())):
        words = ("--customer", "Kestrel Garage", "--note", note)
        done = strokebench("run", "throttle-body", "--sim", *defect, *words, "--book", book, cwd=book.parent)
        assert done.returncode in (0, 1), done.stderr
        with Book(book) as opened:
            numbers.append(opened.last_run())
    with Book(book) as opened:
        car = {"vehicle": "estate car, 2009", "complaint": "idle hunts when warm"}
        job = opened.jobs.new(customer="Kestrel Garage", **car)
        opened.jobs.add_run(job, numbers[0], "before")
        opened.jobs.change(job, done="throttle bore cleaned")
        opened.jobs.add_run(job, numbers[1], "after")
    return numbers


def main(folder: Path, looks: Sequence[str], *, every: bool, anew: bool, whole: bool) -> None:
    """Take all of them; a computer that is too busy trips the dead-man and spoils some."""
    begun = {path: path.stat().st_mtime_ns for path in folder.glob("panel-*.png")}

    def wanted(path: Path) -> bool:
        there = path.exists() and (not anew or path.stat().st_mtime_ns != begun.get(path))
        return not there and (every or path.name in SHOWN)

    cameras = [Camera(folder, width, look, wanted, whole=whole) for width in SIZES for look in looks]
    with (
        tempfile.TemporaryDirectory() as work,
        panel_on_witness(Path(work), "--part", "throttle-body", program=PATIENT) as (witness, panel),
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(executable_path=chromium(), args=FLAGS)
        left = [camera for camera in cameras if camera.wants(*STILL)]
        runs = _book(panel.book) if left else []
        for camera in left:
            context = camera.context(browser)
            _still(context.new_page(), panel, camera, runs)
            context.close()
        for camera in cameras:
            if camera.wants(*(name for _, names in STEPS for name in names)):
                context = camera.context(browser)
                _moving(open_page(context, panel.url), witness, camera)
                context.close()
        browser.close()


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--all", action="store_true", help="also those that no page of the docs shows")
    parser.add_argument("--anew", action="store_true", help="those too that are there already")
    parser.add_argument("--whole", action="store_true", help="each page down to its end")
    parser.add_argument("--look", nargs="+", choices=LOOKS, help="default: light and dark; without --all any")
    given = parser.parse_args()
    main(
        given.folder,
        given.look or (USUAL if given.all else tuple(LOOKS)),
        every=given.all,
        anew=given.anew,
        whole=given.whole,
    )
