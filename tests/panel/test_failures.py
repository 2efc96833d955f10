"""Whatever goes wrong with a request, a page of our own says so in a sentence, and STOP is on it."""

from __future__ import annotations

from pathlib import Path

import pytest

pytest.importorskip("fastapi")
client = pytest.importorskip("starlette.testclient", reason="needs httpx", exc_type=ImportError)
server = pytest.importorskip("strokebench.panel.server")

PORT = 8765
OURS = f"http://127.0.0.1:{PORT}"


@pytest.fixture
def web(tmp_path: Path) -> object:
    """A client of the whole panel, without a bench."""
    app = server.Panel(server.Options(book=tmp_path / "a.book"), lambda line: None).app(PORT)

    @app.get("/mistake")
    def _mistake() -> None:
        raise ZeroDivisionError("of ours")

    return client.TestClient(app, base_url=OURS, raise_server_exceptions=False)


@pytest.mark.parametrize(
    ("method", "path", "status", "sentence"),
    [
        ("GET", "/nowhere", 404, "nothing at this address"),
        ("GET", "/run/x", 404, "nothing at this address"),
        ("GET", "/run/7", 404, "no job book"),
        ("GET", "/report/7", 404, "no job book"),
        ("GET", "/jobs/7", 404, "no job book"),
        ("GET", "/wiring/none.svg", 404, "no drawing"),
        ("POST", "/book", 405, "cannot be used in this way"),
        ("GET", "/mistake", 500, "STOP are not affected"),
        ("POST", "/join", 403, "only watches"),
    ],
)
def test_every_failure_is_a_page_of_our_own_with_stop(
    web: object, method: str, path: str, status: int, sentence: str
) -> None:
    answer = web.request(method, path, headers={"origin": OURS})  # type: ignore[attr-defined]
    assert answer.status_code == status and answer.headers["content-type"].startswith("text/html")
    assert sentence.lower() in answer.text.lower() and 'data-do="stop"' in answer.text
    assert "Traceback" not in answer.text and "detail" not in answer.text


def test_compare_with_one_run_chosen_says_what_to_do(web: object) -> None:
    """Before: raw JSON, 422."""
    for path in ("/compare?a=1", "/compare", "/compare?a=1&b=x"):
        answer = web.get(path)  # type: ignore[attr-defined]
        assert answer.status_code == 200 and "Mark run A and run B" in answer.text, path


def test_who_is_refused_gets_a_page_of_sentences_alone(web: object) -> None:
    answer = web.get("/", headers={"host": "evil.example"})  # type: ignore[attr-defined]
    assert answer.status_code == 403 and "<h1>Refused</h1>" in answer.text
    assert "Open it by the address it printed" in answer.text
    assert "/panel-static" not in answer.text and "strokebench_session" not in answer.text
