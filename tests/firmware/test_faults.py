"""The fault table: complete, unambiguous, readable."""
# Runs under CPython and MicroPython.

from strokefw import faults


def test_codes_and_keys_are_unique_and_two_digits():
    codes = [row[0] for row in faults.TABLE]
    keys = [row[1] for row in faults.TABLE]
    assert len(set(codes)) == len(codes) and len(set(keys)) == len(keys)
    for code in codes:
        assert 1 <= code // 10 <= 9 and 1 <= code % 10 <= 9, code
    assert codes == sorted(codes)


def test_severity_and_latch_look_up():
    for code, _key, severity, latched, _sentence, _check in faults.TABLE:
        assert faults.SEVERITY[code] == severity and faults.LATCHED[code] == latched
        assert not latched or severity >= faults.STOP, "only what ends a run can latch"
        assert (code // 10 == 7) <= (severity == faults.REFUSE), "requests are refused, never acted upon"


def test_sentences_are_sentences():
    for row in faults.TABLE:
        for text in row[4:]:
            assert text[0].isupper() and text.endswith(".") and 10 < len(text) < 170, text
        assert row[4] != row[5]


def test_unknown_code_has_no_row():
    assert faults.row(0) is None and faults.row(99) is None
