"""A job from complaint to signed report: a dead pump; an EGR valve before and after its cleaning."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from PIL import Image
from strokebench.book.book import Book
from strokebench.cli import main

from tests.helpers.pages import CHROMIUM, browser_page, largest_hole, printed, words

A4, LETTER = (595, 842), (612, 792)
"""Points of 1/72 inch: ISO 216, 210 x 297 mm; ANSI/ASME Y14.1 size A, 8.5 x 11 in."""
MOST_HOLE = 0.15
"""Highest empty band of a page but the last, as a share of the page."""
WORKSHOP = """name = "Harbour Lane Garage"
address = ["7 Harbour Lane", "Invented Town"]
technician = "A. Miller"
logo = "logo.png"
time_zone = "Asia/Kathmandu"
"""


def do(capsys: pytest.CaptureFixture[str], *words_: str) -> dict[str, object]:
    """Run a command with ``--json`` and return its result."""
    capsys.readouterr()
    main([*words_, "--json"])
    result = json.loads(capsys.readouterr().out)
    assert isinstance(result, dict), result
    return result


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a workshop's file and logo, from which commands are run."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("STROKEBENCH_BOOK", "shop.book")
    monkeypatch.delenv("STROKEBENCH_WORKSHOP", raising=False)
    Image.new("RGB", (400, 100), "navy").save(tmp_path / "logo.png")
    (tmp_path / "workshop.toml").write_text(WORKSHOP, encoding="utf-8")
    return tmp_path


def photo(path: Path) -> str:
    target = io.BytesIO()
    Image.effect_noise((1200, 900), 40).convert("RGB").save(target, "JPEG")
    path.write_bytes(target.getvalue())
    return str(path)


@pytest.mark.slow
def test_a_dead_pump_from_complaint_to_signed_report(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    opened = do(
        capsys, "job", "new", "--customer", "C-17 <b>", "--vehicle", "van, 2009", "--complaint",
        "does not start", "--part-number", "FP-2", "--serial", "0007",
    )  # fmt: skip
    assert opened == {"job_id": 1}
    do(capsys, "job", "photo", "1", photo(shop / "plug.jpg"), "--caption", "green plug")
    run = ["run", "fuel-pump", "--sim", "--acknowledge", "--job", "1", "--no-report"]
    first = do(capsys, *run, "--inject", "open_winding", "--leads-checked")
    assert (first["verdict"], first["exit_code"]) == ("fail", 1)
    do(capsys, "job", "report", "1")
    alone = (shop / "shop-job-1.html").read_text(encoding="utf-8")
    assert "No current flows" in alone and "Before</span>" not in alone
    do(capsys, "job", "change", "1", "--done", "Pump replaced.")
    second = do(capsys, *run, "--seed", "5")
    assert second["verdict"] == "pass"
    signed = do(capsys, "job", "sign", "1", "--by", "A. Miller")
    assert main(["job", "change", "1", "--done", "nothing"]) == 2
    do(capsys, "job", "report", "1")
    text = (shop / "shop-job-1.html").read_text(encoding="utf-8")
    front = text[: text.index('class="annex"')]
    for wanted in (
        "Harbour Lane Garage", "does not start", "C-17 &lt;b&gt;", "FP-2", "No current flows",
        "Pump replaced.", "\u2717 FAIL", "\u2713 PASS", "Signed by A. Miller", "Customer</p>", "green plug",
        "Afterwards",         "Fuel vapour ignites", "does not replace",
    ):  # fmt: skip
        assert wanted in front, wanted
    assert text.count("data:image/") == 2 and "<script" not in text
    assert str(signed["seal"]) in text
    with Book("shop.book", read_only=True) as book:
        job = book.jobs.get(1)
        assert [(each.role, each.run.verdict) for each in job.attempts] == [
            ("before", "fail"),
            ("after", "pass"),
        ]
        assert {each.run.part_serial for each in job.attempts} == {"0007"}
        assert {each.run.customer for each in job.attempts} == {"C-17 <b>"}
    assert main(["book", "check", "--seal", str(signed["seal"])[:16]]) == 0
    assert main(["job", "show", "1"]) == main(["job", "list"]) == 0
    assert "signed" in capsys.readouterr().out


def cleaned(capsys: pytest.CaptureFixture[str], *, long_texts: bool) -> None:
    """Open a job of an EGR valve with carbon on its seat, and measure it before and after cleaning."""
    fill = "x y " * 100 if long_texts else ""
    do(capsys, "job", "new", "--vehicle", "estate, 2011", "--complaint", ("rough idle " + fill)[:300].strip())
    run = ["run", "egr-motor", "--sim", "--job", "1", "--no-report"]
    assert do(capsys, *run, "--inject", "carbon_seat:severe")["verdict"] == "fail"
    do(capsys, "job", "change", "1", "--done", ("carbon removed " + fill)[:300].strip())
    assert do(capsys, *run)["verdict"] == "pass"


@pytest.mark.slow
@pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
def test_an_egr_valve_before_and_after_cleaning_on_paper_and_screen(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cleaned(capsys, long_texts=True)
    for number in range(4):
        do(capsys, "job", "photo", "1", photo(shop / f"{number}.jpg"), "--caption", f"view {number}")
    page, pdf = shop / "shop-job-1.html", shop / "shop-job-1.pdf"
    for paper, size in (("A4", A4), ("letter", LETTER)):
        (shop / "workshop.toml").write_text(f'paper = "{paper}"\n{WORKSHOP}', encoding="utf-8")
        assert do(capsys, "job", "report", "1", "--pdf", "--force")["pdf"] == pdf.name
        pages, said = printed(pdf), words(pdf)
        assert pages[0].size == pytest.approx([0.8 * side for side in size], abs=1.5)
        front = said[0]
        for wanted in ("Harbour Lane Garage", "FAIL", "PASS", "Does not shut", "carbon removed",
                       "Technician: A. Miller", "qualified person", "view 0",
                       "Customer", "Where they differ most"):  # fmt: skip
            assert wanted in front, (paper, wanted)
        assert any("Attempts of job 1" in text for text in said[1:]) and "Technician" not in said[1]
        holes = [round(largest_hole(image), 2) for image in pages]
        assert max(holes[:-1]) <= MOST_HOLE, (paper, holes)
    text = page.read_text(encoding="utf-8")
    assert "\u2713 now passes" in text and "+0545" in text, "the workshop's zone is 5 h 45 min ahead of UTC"
    with browser_page(page, 390) as phone:
        assert phone.evaluate("document.documentElement.scrollWidth") <= 390
        places = phone.evaluate(
            """() => [...document.querySelectorAll('.annex .findings tr:not(.group) :is(.l, .w)')]
            .map(cell => cell.getBoundingClientRect()).filter(box => box.width)
            .map(box => [box.left, box.right, box.height])"""
        )
        assert len(places) >= 40
        assert all(left >= 0 and right <= 390 and height > 8 for left, right, height in places)


IN_EACH_RUN = ("solenoid", "dead pump")
SOME = {
    "solenoid": ("solenoid",),
    "dead pump": ("fuel-pump", "--acknowledge", "--inject", "open_winding", "--leads-checked"),
    "throttle body": ("throttle-body", "--inject", "binding:moderate"),
    "egr valve": ("egr-motor", "--inject", "carbon_seat:severe"),
    "fan": ("cooling-fan",),
    "wiring": ("wiring",),
    "coil valve": ("egr-solenoid",),
    "idle valve": ("idle-actuator",),
}


@pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=pytest.mark.slow if name in ("solenoid", "dead pump") else pytest.mark.long)
        for name in SOME
    ],
)
def test_no_page_but_the_last_has_a_hole(shop: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    """Pages with a third of them empty looked as if something was missing."""
    do(capsys, "run", *SOME[name], "--sim", "--no-report")
    for paper in ("A4", "letter"):
        (shop / "workshop.toml").write_text(f'paper = "{paper}"\n{WORKSHOP}', encoding="utf-8")
        assert main(["report", "-o", "r.html", "--pdf", "--force"]) == 0
        holes = [round(largest_hole(page), 2) for page in printed(shop / "r.pdf")]
        print(name, paper, holes)
        assert max(holes[:-1]) <= MOST_HOLE, (paper, holes)
        assert "Technician" in words(shop / "r.pdf")[0] and "Technician" not in words(shop / "r.pdf")[1]


@pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
def test_a_pdf_is_no_file_of_somebody_elses(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run = ["run", "solenoid", "--sim", "--inject", "open_winding", "--report", "r.html"]
    (shop / "r.pdf").write_text("mine", encoding="utf-8")
    assert main([*run, "--pdf"]) == 6
    assert (shop / "r.pdf").read_text(encoding="utf-8") == "mine"
    assert main(["report", "-o", "r.html", "--pdf", "--force"]) == 0
    assert (shop / "r.pdf").read_bytes().startswith(b"%PDF")
    assert "PDF: r.pdf" in capsys.readouterr().out


def test_without_a_browser_nothing_is_driven(
    shop: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("STROKEBENCH_CHROMIUM", str(shop / "nowhere"))
    assert main(["run", "solenoid", "--sim", "--pdf"]) == 6
    assert "no Chromium" in capsys.readouterr().err
    assert not (shop / "shop.book").exists()


@pytest.mark.parametrize(
    ("options", "code", "sentence"),
    [(("--job", "4"), 2, "no job 4"), (("--as", "after"), 2, "--as needs a job")],
)
def test_a_job_that_is_not_there_is_refused_before_anything_moves(
    shop: Path, capsys: pytest.CaptureFixture[str], options: tuple[str, ...], code: int, sentence: str
) -> None:
    assert main(["run", "solenoid", "--sim", *options]) == code
    assert sentence in capsys.readouterr().err
    with Book("shop.book", read_only=True) as book:
        assert book.runs() == []


def test_a_report_needs_an_attempt_and_keeps_others_files(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    do(capsys, "job", "new")
    assert main(["job", "report", "1"]) == 2
    assert "no attempt" in capsys.readouterr().err
    do(capsys, "run", "solenoid", "--sim", "--inject", "open_winding", "--job", "1", "--no-report")
    (shop / "shop-job-1.html").write_text("mine", encoding="utf-8")
    assert do(capsys, "job", "report", "1")["report"] == "shop-job-1-2.html"
    assert (shop / "shop-job-1.html").read_text(encoding="utf-8") == "mine"
    assert do(capsys, "job", "report", "1")["report"] == "shop-job-1-2.html", "an earlier report of the job"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [('paper = "A5"', "paper"), ('time_zone = "Nowhere/Atall"', "time_zone"), ('logo = "none.png"', "logo"),
     ('colour = "red"', "colour"), ("name = ", "not valid TOML"),
     ('logo = "workshop.toml"', "no JPEG or PNG")],
)  # fmt: skip
def test_a_wrong_workshop_file_is_named(
    shop: Path, capsys: pytest.CaptureFixture[str], text: str, sentence: str
) -> None:
    (shop / "workshop.toml").write_text(text + "\n", encoding="utf-8")
    do(capsys, "run", "solenoid", "--sim", "--inject", "open_winding", "--no-report")
    assert main(["report"]) in (2, 6, 7)
    assert sentence in capsys.readouterr().err
