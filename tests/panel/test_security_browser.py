"""A foreign page in the user's own browser, the token on another address, and scripts in customer notes."""

from __future__ import annotations

import http.server
import re
import shutil
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import segno
from strokebench.book.book import Book
from strokebench.panel.security import WAIT_S

from tests.helpers.witnessed_bench import Witness
from tests.panel.axe import FITS, complaints
from tests.panel.conftest import reach_bench, supply_on
from tests.panel.stage import PanelProcess

pytestmark = pytest.mark.slow

Stage = tuple[Witness, PanelProcess]
NASTY = "</script><script>window.pwned = 1</script><img src=x onerror='window.pwned = 2'>{{ 7 * 7 }}"


@pytest.fixture
def foreign_site() -> Iterator[str]:
    """Another web server on this machine, as a foreign page would come from."""

    class Quiet(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.end_headers()
            self.wfile.write(b"<!doctype html><title>foreign</title>")

        def log_message(self, *_: Any) -> None:
            return

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Quiet)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}/"
    server.shutdown()
    server.server_close()


ATTACK = """async (target) => {
  const tried = {};
  tried.socket = await new Promise((done) => {
    const socket = new WebSocket(target.replace("http", "ws") + "/lifeline/foreign");
    socket.onopen = () => done("open"); socket.onerror = () => done("refused");
  });
  for (const [name, path, method] of [
      ["stop", "/stop", "POST"], ["page", "/", "GET"], ["book", "/book", "GET"],
      ["curves", "/curves/live", "GET"], ["join", "/join", "POST"]]) {
    const answer = fetch(target + path, { method, mode: "cors" });
    tried[name] = await answer.then((r) => "status " + r.status, () => "refused");
  }
  tried.frame = await new Promise((done) => {
    const frame = document.createElement("iframe");
    frame.onload = () => done("loaded or refused: the statuses tell");
    frame.src = target + "/"; document.body.append(frame); setTimeout(() => done("blocked"), 3000);
  });
  return tried;
}"""


def test_a_foreign_page_reaches_nothing(page: Any, stage: Stage, foreign_site: str) -> None:
    _, panel = stage
    supply_on(page)
    other = page.context.new_page()
    other.goto(foreign_site)
    page.bring_to_front()
    statuses: dict[str, int] = {}
    other.on("response", lambda answer: statuses.update({answer.url: answer.status}))
    tried = other.evaluate(ATTACK, panel.url)
    for way in ("socket", "stop", "page", "book", "curves", "join"):
        assert tried[way] == "refused", tried
    assert statuses and all(status == 403 for url, status in statuses.items() if url.startswith(panel.url)), (
        statuses
    )
    assert page.get_attribute("body", "data-phase") in ("armed", "idle")
    other.close()


def test_another_address_asks_for_the_token_once(
    browser: Any, driver_of_browsers: Any, tmp_path: Path
) -> None:
    panel = PanelProcess(tmp_path, "--sim", "throttle-body", "--listen", "0.0.0.0", wait_for=2)
    try:
        token = next(line for line in panel.lines if "One-time token" in line).rsplit(" ", 1)[1]
        first, second = browser.new_context(), browser.new_context()
        page = first.new_page()
        page.goto(panel.url)
        assert page.url.endswith("/enter")
        page.set_viewport_size({"width": 320, "height": 640})
        page.wait_for_function(FITS, arg=320)
        assert complaints(page) == []
        assert not any("0.0.0.0" in line for line in panel.lines), "an address that no phone can open"
        page.fill("#token", "WRONG-WRONG-XX")
        page.click("button")
        assert "not the token" in page.inner_text("body")
        page.wait_for_timeout(1000 * WAIT_S + 200)  # the door takes no second try earlier
        page.fill("#token", token)
        page.click("button")
        reach_bench(page)
        assert token not in page.url and token.replace("-", "") not in page.url
        cookie = first.cookies()[0]
        assert cookie["httpOnly"] and cookie["sameSite"] == "Strict"
        page.goto(panel.url)
        page.wait_for_selector('body[data-phase="idle"]')
        late = second.new_page()
        late.goto(panel.url)
        late.fill("#token", token)
        late.click("button")
        assert "not the token" in late.inner_text("body"), "a token worked twice"
        assert panel.next_line().startswith("One-time token"), "the next browser's token was not printed"
        first.close()
        second.close()
    finally:
        code, said = panel.end()
    assert token not in said and "Traceback" not in said
    assert code in (0, 130)


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A certificate of our own and its key."""
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("no openssl here: no certificate to try with")
    folder = tmp_path_factory.mktemp("tls")
    found = folder / "cert.pem", folder / "key.pem"
    command = [openssl, "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"]
    where = ["-subj", "/CN=strokebench", "-days", "2", "-out", str(found[0]), "-keyout", str(found[1])]
    subprocess.run([*command, *where], check=True, capture_output=True)
    return found


def test_a_phone_joins_by_its_code_with_tls_and_only_watches(
    browser: Any, driver_of_browsers: Any, tmp_path: Path, certificate: tuple[Path, Path]
) -> None:
    panel = PanelProcess(
        tmp_path, "--sim", "throttle-body", "--listen", "0.0.0.0", "--tls", *certificate, wait_for=2
    )
    url = f"https://127.0.0.1:{panel.number}"
    try:
        token = next(line for line in panel.lines if "One-time token" in line).rsplit(" ", 1)[1]
        owners, phones = (browser.new_context(ignore_https_errors=True) for _ in range(2))
        owner = open_enter(owners, url, token)
        owner.goto(f"{url}/join")
        owner.click('button[type="submit"]')
        owner.wait_for_selector("img.qr")
        code = decoded_link(owner)
        assert code.startswith("https://") and "#token=" in code
        phone = phones.new_page()
        phone.goto(f"{url}/enter#{code.partition('#')[2]}")
        phone.wait_for_function("() => document.getElementById('token').value !== ''")
        assert "token" not in phone.url, "the token stays in the address"
        phone.click("button")
        phone.wait_for_selector('body[data-phase="idle"]', timeout=30_000)
        assert phones.cookies()[0]["secure"]
        assert phone.locator('[data-do="take"]:visible').count() == 0
        assert phone.locator("[data-needs]:enabled").count() == 0
        assert "only watches" in phone.inner_text('[data-out="who"]')
        phone.keyboard.press("Escape")
        phone.wait_for_function(
            "() => document.querySelector('[data-stop-state]').textContent.includes('Confirmed')"
        )
        phone.goto(f"{url}/join")
        phone.click('button[type="submit"]')
        assert "cannot let others in" in phone.inner_text("main")
        for context in (owners, phones):
            context.close()
    finally:
        panel.end()


def open_enter(context: Any, url: str, token: str) -> Any:
    """Come in with the printed token; return the bench's page."""
    page = context.new_page()
    page.goto(url)
    page.fill("#token", token)
    page.click("button")
    reach_bench(page)
    return page


def decoded_link(page: Any) -> str:
    """Return what the code on the page holds, made anew from the address and the token beside it."""
    words = page.inner_text("section.code p")
    address, typed = re.search(r"open (\S+) and type (\S+)\.", words).groups()  # type: ignore[union-attr]
    expected = f"{address.rstrip('/')}/enter#token={typed.replace('-', '')}"
    shown = page.get_attribute("img.qr", "src")
    assert shown == segno.make(expected, error="m").svg_data_uri(scale=6, border=4, dark="#000", light="#fff")
    return expected


def test_a_key_of_another_certificate_is_refused_in_a_sentence(
    tmp_path: Path, certificate: tuple[Path, Path]
) -> None:
    from strokebench.errors import UsageError
    from strokebench.panel.tls import context_of

    with pytest.raises(UsageError, match="cannot be used"):
        context_of(certificate[0], tmp_path / "nothing.pem")
    with pytest.raises(UsageError, match="cannot be used"):
        context_of(certificate[1], certificate[0])


def test_a_script_in_a_customers_note_stays_text(page: Any, stage: Stage) -> None:
    _, panel = stage
    with (
        Book(panel.book) as book,
        book.new_run("throttle-body", "throttle", customer=NASTY, note=NASTY, part_serial=NASTY) as writer,
    ):
        writer.finish("done")
    page.goto(f"{panel.url}/book?find=window.pwned")
    page.wait_for_selector("tbody tr")
    assert NASTY in page.inner_text("tbody tr")
    assert page.input_value("#find") == "window.pwned"
    page.goto(f"{panel.url}/book?find={NASTY.replace('#', '')}")
    page.wait_for_selector("#find")
    page.goto(f"{panel.url}/compare?a={writer.run_id}&b={writer.run_id}")
    page.wait_for_selector("h1")
    for _ in range(2):
        assert page.evaluate("() => window.pwned") is None
        page.goto(f"{panel.url}/report/{writer.run_id}")
    assert page.evaluate("() => window.pwned") is None


def test_what_is_typed_into_the_page_stays_text_too(page: Any, stage: Stage) -> None:
    page.select_option("#f-way", "bench on a port")
    page.wait_for_selector("#f-port:visible")
    page.fill("#f-port", f"/dev/{NASTY}")
    page.click('[data-do="open"]')
    page.wait_for_selector(".banner.message.error:visible")
    assert "window.pwned" in page.inner_text(".banner.message")
    assert page.evaluate("() => window.pwned") is None
    page.fill("#f-port", stage[0].port)
    page.click('[data-do="open"]')
    page.wait_for_selector('body[data-phase="idle"]')
