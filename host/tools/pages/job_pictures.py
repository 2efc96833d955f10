"""Pictures of a job's report in docs/img: ``python -m tools.pages.job_pictures``.

A simulated EGR valve with carbon on its seat is measured, cleaned and measured again; a dead pump is
replaced. The commands are really run. Needs Chromium, pypdfium2 and playwright.
"""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pypdfium2
from PIL import Image, ImageDraw
from playwright.sync_api import sync_playwright

from tools import DOCS
from tools.pages.report_picture import BROWSERS

WORKSHOP = """name = "Harbour Lane Garage"
address = ["7 Harbour Lane", "Invented Town"]
logo = "logo.png"
technician = "A. Miller"
time_zone = "UTC"
"""
COMMANDS = (
    "job new --customer C-2041 --vehicle 'estate, 2.0 diesel, 2011' --complaint 'Rough idle when warm, stalls"
    " at traffic lights.' --part-number EV-118 --serial 0042",
    "run egr-motor --sim --inject carbon_seat:severe --job 1 --no-report",
    "job change 1 --done 'Carbon removed from seat and pintle, put back with a new gasket.'",
    "run egr-motor --sim --job 1 --no-report",
    "job report 1 --pdf",
    "compare 1 2 -o compare.html",
    "job new --customer C-2057 --vehicle 'van, 2009' --complaint 'Does not start.' --part-number FP-2"
    " --serial 0007",
    "run fuel-pump --sim --inject open_winding --leads-checked --acknowledge --job 2 --no-report",
    "job change 2 --done 'Pump replaced.'",
    "run fuel-pump --sim --seed 5 --acknowledge --job 2 --no-report",
    "job sign 2 --by 'A. Miller'",
    "job report 2 --pdf",
)
SCALE = 1.5  # pixels a point of a PDF page
PHONE, PHONE_HEIGHT = 390, 1500
"""Pixels; of a telephone's screen the stretch with the findings is shown."""


def logo(path: Path) -> None:
    """Draw an invented workshop's sign."""
    image = Image.new("RGB", (280, 80), "white")
    draw = ImageDraw.Draw(image)
    draw.rectangle((0, 0, 79, 79), fill="#1f5fa8")
    draw.arc((16, 16, 63, 63), 30, 330, fill="white", width=9)
    draw.line((88, 60, 270, 60), fill="#1f5fa8", width=8)
    image.save(path)


def kept(image: Image.Image, name: str) -> None:
    """Write a picture into docs/img with few colours."""
    small = image.convert("RGB").quantize(128, method=Image.Quantize.MAXCOVERAGE, kmeans=2)
    small.save(DOCS / "img" / f"{name}.png", optimize=True)
    print(f"Written: {name}.png, {image.width} x {image.height}")


def pages(pdf: Path, name: str, *, annex: str = "") -> None:
    """Keep the first page of a PDF, and three of the annex side by side."""
    document = pypdfium2.PdfDocument(pdf)
    kept(document[0].render(scale=SCALE).to_pil(), name)
    if annex:
        shown = [document[number].render(scale=SCALE / 2).to_pil() for number in (1, 2, 3)]
        sheet = Image.new("RGB", (sum(each.width + 8 for each in shown), shown[0].height), "#8a939c")
        for number, each in enumerate(shown):
            sheet.paste(each, (number * (each.width + 8), 0))
        kept(sheet, annex)
    document.close()


def screens(folder: Path, browser: str) -> None:
    """Keep the findings of a report on a telephone, and the comparison on a desk's screen."""
    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path=browser, args=["--no-sandbox"])
        page = chromium.new_page(viewport={"width": PHONE, "height": 800}, device_scale_factor=1.5)
        page.goto((folder / "shop-job-1.html").as_uri())
        top = page.evaluate(
            "document.querySelector('.annex .findings').getBoundingClientRect().top + scrollY"
        )
        page.screenshot(
            path=folder / "phone.png",
            full_page=True,
            clip={"x": 0, "y": top - 160, "width": PHONE, "height": PHONE_HEIGHT},
        )
        page = chromium.new_page(viewport={"width": 1080, "height": 800})
        page.goto((folder / "compare.html").as_uri())
        page.screenshot(path=folder / "compare.png", full_page=True)
        chromium.close()
    kept(Image.open(folder / "phone.png"), "job-phone")
    kept(Image.open(folder / "compare.png"), "compare")


def main() -> int:
    """Return 0, or 2 without a browser."""
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if browser is None:
        print("No Chromium found on the path.", file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "workshop.toml").write_text(WORKSHOP, encoding="utf-8")
        logo(folder / "logo.png")
        env = {**os.environ, "STROKEBENCH_BOOK": "shop.book"}
        for command in COMMANDS:
            done = subprocess.run([sys.executable, "-m", "strokebench", *shlex.split(command)], cwd=folder,
                                  env=env, stdout=subprocess.DEVNULL, check=False)  # fmt: skip
            if done.returncode not in (0, 1):
                raise SystemExit(f"{command}: exit code {done.returncode}")
        pages(folder / "shop-job-1.pdf", "job-front", annex="job-annex")
        pages(folder / "shop-job-2.pdf", "job-pump")
        screens(folder, browser)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
