"""The link against a scripted port: numbering, loss, timeouts, versions. Nothing is ever sent twice."""

from __future__ import annotations

import pytest
from strokebench.errors import LinkError, LinkLost, Refused, VersionMismatch
from strokebench.link.link import Link, open_message
from strokefw import faults
from strokefw.link import wire

from tests.helpers.fake_port import FakePort, row, welcome


def test_hello_returns_the_welcome_after_garbage() -> None:
    port = FakePort()
    port.outbox += b"\x13\x37 half a frame from earlier\x00\x55"
    link = Link(port)
    assert link.hello().fields["protocol"] == wire.PROTOCOL
    assert link.bad_frames == 2  # the half frame swallowed the first welcome as well
    assert port.asked() == ["hello", "hello"]


def test_silence_and_foreign_bytes_are_told_apart() -> None:
    silent = FakePort({"hello": lambda *_: None})
    with pytest.raises(LinkError, match="Nothing answers at /dev/x"):
        Link(silent, "/dev/x").hello()
    modem = FakePort({"hello": lambda *_: b"ERROR\r\n"})
    with pytest.raises(LinkError, match="not a bench"):
        Link(modem, "/dev/x").hello()
    assert silent.asked() == ["hello"] * 3


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"protocol": wire.PROTOCOL + 1}, "newer than this program"),
        ({"protocol": 0}, "older than this program"),
        ({"table_hash": 1}, "another message table"),
    ],
)
def test_other_versions_are_refused_in_words(changes: dict[str, int], sentence: str) -> None:
    port = FakePort()
    port.script["hello"] = lambda *_: wire.frame(wire.ID["welcome"], 1, welcome(**changes))
    with pytest.raises(VersionMismatch, match=sentence) as caught:
        Link(port).hello()
    assert caught.value.hint


def test_a_welcome_of_another_length_is_a_version_not_a_crash() -> None:
    port = FakePort()
    body = (wire.PROTOCOL + 1).to_bytes(2, "little") + b"\1\2\3\4\0\2\0 and more"
    port.script["hello"] = lambda *_: wire.frame(wire.ID["welcome"], 1, body)
    with pytest.raises(VersionMismatch, match=r"firmware 0\.2\.0 is newer"):
        Link(port).hello()


def test_refusal_carries_the_bench_sentence_and_code() -> None:
    port = FakePort({"arm": lambda: port.frame("reply", faults.FAULT_LATCHED, faults.STALL)})
    with pytest.raises(Refused, match="stall current without moving") as caught:
        Link(port).request("arm")
    assert caught.value.code == faults.FAULT_LATCHED
    assert "clear" in caught.value.hint


def test_no_answer_is_an_error_and_nothing_is_repeated() -> None:
    port = FakePort({"run": lambda: None})
    with pytest.raises(LinkLost, match="did not answer 'run' within 3 s"):
        Link(port).request("run")
    assert port.asked() == ["run"]
    assert port.now() == pytest.approx(3.0)


def test_a_late_answer_is_not_taken_for_the_next_requests() -> None:
    port = FakePort()
    link = Link(port)
    link.tell("heartbeat")  # its answer arrives together with the next one
    port.script["status"] = lambda: port.frame("reply", faults.NOT_NOW, 0)
    with pytest.raises(Refused):
        link.request("status", answer="status_report")


def test_a_heartbeats_answer_is_no_answer_a_round_of_numbers_later() -> None:
    """255 messages on, the number of an answered request comes round again, on a heartbeat."""
    port = FakePort()
    link = Link(port)
    link.request("stop", 1)
    for _ in range(255):
        link.tell("heartbeat")
        link.poll(0)
    for _ in range(254):
        link.tell("heartbeat")
        link.poll(0)
    port.script["arm"] = lambda: port.frame("reply", faults.NOT_NOW, 0)
    with pytest.raises(Refused, match="arm"):  # not the old "done" of a heartbeat
        link.request("arm")


def test_samples_that_arrive_meanwhile_are_kept() -> None:
    port = FakePort()
    port.say("samples", 0, 1, 0, tail=row(7))
    link = Link(port)
    link.request("heartbeat")
    kept = link.poll(0.0)
    assert [message.name for message in kept] == ["samples"]
    assert kept[0].tail == row(7)


def test_gaps_in_the_running_number_are_counted_across_its_wrap() -> None:
    port = FakePort()
    link = Link(port)
    for seq in (254, 255, 0, 3):
        port.outbox += port.frame("event", 1, 2, 3, 4, 5, seq=seq)
    assert len(link.poll(0.1)) == 4
    assert link.lost_messages == 2


def test_a_flipped_bit_is_counted_and_gives_no_message() -> None:
    port = FakePort()
    link = Link(port)
    frame = bytearray(port.frame("event", 1, 2, 3, 4, 5))
    frame[5] ^= 0x40
    port.outbox += frame + port.frame("event", 9, 2, 3, 4, 5)
    assert [message.fields["tick"] for message in link.poll(0.1)] == [9]
    assert link.bad_frames == 1


def test_request_numbers_run_from_1_to_255() -> None:
    seen: list[int] = []
    port = FakePort()
    port.script["heartbeat"] = lambda: seen.append(port._host_seq) or port.frame("reply", 0, 0)  # type: ignore[func-returns-value]
    link = Link(port)
    for _ in range(257):
        link.request("heartbeat")
    assert seen == [*range(1, 256), 1, 2]


def test_a_body_that_does_not_fit_names_the_versions() -> None:
    with pytest.raises(VersionMismatch, match="does not know"):
        open_message(wire.ID["event"], b"\0")
