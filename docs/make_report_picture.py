"""Make docs/img/report-throttle.png: ``python docs/make_report_picture.py``.

Strokes a simulated throttle that binds, writes its report, and has a headless Chromium take a picture of it.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from strokebench.report import write_report
from strokebench.session import examine
from strokebench.sim.spec import SimSpec
from strokebench.sim.trials import stroke

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
FACTS = {
    "customer": "Demonstration", "note": "Idle hunts when warm", "part_serial": "invented-0042", "run_id": 1,
}  # fmt: skip


def main() -> int:
    """Return 0, or 2 without a browser."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path(__file__).parent / "img" / "report-throttle.png")
    parser.add_argument("--fault", default="binding=0.8@0.45")
    parser.add_argument("--size", default="1080,2330", help="width,height of the window in pixels")
    args = parser.parse_args()
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if browser is None:
        print("No Chromium found on the path.", file=sys.stderr)
        return 2
    run, profile, _ = stroke(SimSpec("throttle-body", 7, (args.fault,)))
    run.info.update(FACTS)
    findings, verdict = examine(run, profile)
    with tempfile.TemporaryDirectory() as folder:
        page = write_report(run, profile, findings, verdict, Path(folder) / "report.html")
        shot = Path(folder) / "shot.png"
        command = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
                   f"--screenshot={shot}", f"--window-size={args.size}", page.as_uri()]  # fmt: skip
        subprocess.run(command, check=True, capture_output=True, timeout=120)
        Image.open(shot).convert("RGB").quantize(256).save(args.out, optimize=True)
    print(f"Written: {args.out}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
