"""The job book's page: text, part, customer and verdict are looked for; fifty runs on a page."""

from __future__ import annotations

from strokebench.book.contents import RunSummary
from strokebench.panel.pages.book import Filter, matching


def run(
    number: int, part: str = "throttle-body", customer: str = "", verdict: str | None = "pass"
) -> RunSummary:
    begun = f"2026-11-{number:02d}T09:00:00+00:00"
    return RunSummary(
        number, begun, part, "throttle", "", customer, "idle hunts", "done", verdict, 51_000, 51.0
    )


RUNS = [
    run(1, customer="Kestrel Garage", verdict="fail"),
    run(2, customer="Kestrel Garage"),
    run(3, part="egr-motor", customer="Heron Cars"),
    run(4, verdict=None),
]


def found(**wanted: str) -> list[int]:
    return [each.run_id for each in matching(RUNS, Filter(**wanted))]


def test_each_field_of_the_filter_counts_and_an_empty_one_does_not() -> None:
    assert found() == [4, 3, 2, 1], "newest first"
    assert found(part="egr-motor") == [3]
    assert found(customer="Kestrel Garage") == [2, 1]
    assert found(verdict="fail") == [1]
    assert found(customer="Kestrel Garage", verdict="pass") == [2]
    assert found(part="egr-motor", verdict="fail") == []


def test_every_word_has_to_occur_somewhere() -> None:
    assert found(find="HUNTS kestrel") == [2, 1]
    assert found(find="2026-11-03") == [3]
    assert found(find="kestrel egr") == []


def test_a_filter_has_an_address_that_keeps_it() -> None:
    assert Filter().address == "/book"
    assert Filter(customer="A & B", page=2).address == "/book?customer=A+%26+B&page=2"
