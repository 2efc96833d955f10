"""A picture of a part's report in docs/img: ``python -m tools.pages.report_picture [PART]``.

Strokes a simulated part with a defect (a throttle that binds, unless told otherwise), writes its report, and
has a headless Chromium take a picture of it.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image, ImageChops
from strokebench.bench.bench import open_bench
from strokebench.bench.spec import SimSpec
from strokebench.book.book import Book
from strokebench.data.run import RunData
from strokebench.guided import guide_names, guided_profile, load_guide
from strokebench.guided.people import AnswerFile
from strokebench.guided.walk import Walk
from strokebench.parts import load_part
from strokebench.parts.profile import Profile
from strokebench.report import write_report
from strokebench.sim.trials import stroke
from strokebench.verdict.examine import examine

from tools import DOCS

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
WIDTH, TALLEST = 1080, 9000  # of the browser's window, in pixels
FRONT = 1500  # as far as the customer's page of the throttle's report goes
FACTS = {"customer": "Demonstration", "part_serial": "invented-0042", "run_id": 1}
SHOWN = {
    "throttle-body": ("binding=0.8@0.45", "Idle hunts when warm"),
    "egr-motor": ("binding=1.0@0.6", "Hesitates at part load"),
    "egr-solenoid": ("carbon_seat=0.12", "Rough idle"),
    "solenoid": ("sticky=0.6", "Purges late"),
    "idle-actuator": ("binding=0.9@0.35", "Idle speed sticks"),
    "fuel-pump": ("bad_segment=0.6", "Stalls now and then, starts after a knock on the tank"),
    "fuel-pump-fuse": ("supply_resistance=0.15", "Loses power at full load"),
    "cooling-fan": ("broken_blade=0.5", "The whole front shakes when the fan runs"),
    "water-pump": ("dry=0.8", "Heater gets cold at idle"),
    "wiring": ("bad_crimp=0.1", "Lamps flicker over bumps"),
    "egr-at-idle": ("", "Idles well, EGR fault stored"),
}
"""Part -> a defect that shows in a figure, and the customer's words (invented)."""


def stroked(part: str, fault: str) -> tuple[RunData, Profile]:
    """Stroke a simulated part with a defect."""
    run, profile, _ = stroke(SimSpec(part, 7, (fault,)))
    return run, profile


def guided() -> tuple[RunData, Profile]:
    """Have somebody at an engine who sees nothing although the valve opens."""
    says = {"shut_before": "even", "shut_after": "even"}
    guide = load_guide("egr-at-idle")
    answers = {step.id: says.get(step.id, "nothing") for step in guide.steps}
    profile = guided_profile(guide, load_part(guide.part))
    with tempfile.TemporaryDirectory() as folder, Book(Path(folder) / "a.book") as book:
        with open_bench(sim=SimSpec(profile.simulated, 7)) as bench:
            bench.set_limits(profile.limits)
            bench.arm()
            stored = profile.model_dump(mode="json", exclude_none=True)
            accuracy = bench.accuracy()
            with book.new_run(profile.name, profile.kind, profile=stored, accuracy=accuracy) as writer:
                Walk(bench, profile, writer, AnswerFile(answers), lambda text: None).go()
                writer.info(**bench.info(), cautions=f"all {len(guide.cautions)}, one by one, by answer")
        return book.load(1), profile


def trimmed(picture: Image.Image) -> Image.Image:
    """Cut off what is below the sheet: only the page's background."""
    empty = Image.new("RGB", picture.size, picture.getpixel((0, 0)))
    box = ImageChops.difference(picture, empty).getbbox()
    return picture.crop((0, 0, picture.width, min(box[3] + 16, picture.height))) if box else picture


def main() -> int:
    """Return 0, or 2 without a browser."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("part", nargs="?", default="throttle-body", choices=sorted(SHOWN))
    parser.add_argument("--out", type=Path, help="default: docs/img/report-PART.png")
    parser.add_argument("--fault", help="default: one that shows in a figure")
    parser.add_argument("--height", type=int, help="cut off below so many pixels (default: the whole report)")
    args = parser.parse_args()
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if browser is None:
        print("No Chromium found on the path.", file=sys.stderr)
        return 2
    fault, note = SHOWN[args.part]
    run, profile = guided() if args.part in guide_names() else stroked(args.part, args.fault or fault)
    run.info.update(FACTS, note=note)
    out = args.out or DOCS / "img" / f"report-{args.part.removesuffix('-body')}.png"
    findings, verdict = examine(run, profile)
    with tempfile.TemporaryDirectory() as folder:
        page = write_report(run, profile, findings, verdict, Path(folder) / "report.html")
        shot = Path(folder) / "shot.png"
        command = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
                   f"--screenshot={shot}", f"--window-size={WIDTH},{TALLEST}", page.as_uri()]  # fmt: skip
        subprocess.run(command, check=True, capture_output=True, timeout=120)
        whole = trimmed(Image.open(shot).convert("RGB"))
        seen = whole.crop((0, 0, WIDTH, min(args.height or TALLEST, whole.height)))
        _save(seen, out)
        if args.part == "throttle-body" and not args.out:
            _save(seen.crop((0, 0, WIDTH, FRONT)), out.with_stem(f"{out.stem}-first"))
    print(f"Written: {out}")
    return 0


def _save(picture: Image.Image, path: Path) -> None:
    # maximum coverage: a palette by frequency gives thin coloured lines away to the greys
    picture.quantize(256, method=Image.Quantize.MAXCOVERAGE, kmeans=2).save(path, optimize=True)


if __name__ == "__main__":
    raise SystemExit(main())
