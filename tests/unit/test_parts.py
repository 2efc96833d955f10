"""Part profiles: the built-in ones are sound; a mistake in one's own is named with file, line and range."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest
from strokebench import parts
from strokebench.diagnose import kinds
from strokebench.errors import BookError, ProfileError, UsageError

SOURCE = (resources.files(parts) / "throttle-body.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", parts.part_names())
def test_every_built_in_part_is_sound(name: str) -> None:
    profile = parts.load_part(name)
    assert profile.name == name
    assert profile.kind in kinds()
    assert profile.part.cautions, "a part that moves needs its cautions"
    assert profile.procedure.problems(profile.limits) == []


def changed(tmp_path: Path, old: str, new: str) -> Path:
    assert SOURCE.count(old) >= 1, old
    path = tmp_path / "mine.toml"
    path.write_text(SOURCE.replace(old, new, 1), encoding="utf-8")
    return path


def line_of(text: str) -> int:
    return SOURCE[: SOURCE.index(text)].count("\n") + 1


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            "current_max_a = ",
            "current_max_a = 400 #",
            "limits.current_max_a = 400: must be between 0.1 and 60 A",
        ),
        ("stall_s = ", "stall_s = -1 #", "limits.stall_s = -1: must be between 0.05 and 30 s"),
        ("drive_min = ", 'drive_min = "low" #', "limits.drive_min = 'low': input should be a valid number"),
        ("slew_per_s = ", "slow_per_s = 1\nslew_per_s = ", "limits.slow_per_s is not a known key"),
        ("closed_v = 0.5", "closed_v = 9", "tracks.a.closed_v = 9: must be between 0 and 5.5 V"),
    ],
)
def test_a_wrong_value_is_named_with_its_line(tmp_path: Path, old: str, new: str, sentence: str) -> None:
    path = changed(tmp_path, old, new)
    with pytest.raises(ProfileError) as caught:
        parts.load_part(path)
    assert str(caught.value).startswith(f"{path}, line {line_of(old)}: {sentence}")


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("current_mean_a = ", "current_mean_a = 50 #", "between 0.05 and 45"),
        ("supply_min_v = ", "supply_min_v = 16 #", "supply_min_v = 16 must be below supply_max_v = 16"),
        ("drive_min = ", "drive_min = 0.2 #", "off must be allowed"),
        ("drive_max = ", "drive_max = 0.1 #", "allowed is -0.75 to 0.1"),
        ("stall_a = ", "stall_a = 59 #", "stall_a = 59 must be below current_max_a"),
        ('kind = "throttle"', 'kind = "Throttle Body"', "part.kind"),
    ],
)
def test_impossible_limits(tmp_path: Path, old: str, new: str, sentence: str) -> None:
    with pytest.raises(ProfileError) as caught:
        parts.load_part(changed(tmp_path, old, new))
    assert sentence in str(caught.value)


def test_broken_toml_names_the_line(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match=rf"line {line_of('[limits]')}: not valid TOML"):
        parts.load_part(changed(tmp_path, "[limits]", "[limits"))


def test_a_file_that_ends_in_the_middle(tmp_path: Path) -> None:
    path = tmp_path / "short.toml"
    path.write_text('[part]\nname = "x', encoding="utf-8")
    with pytest.raises(ProfileError, match="not valid TOML"):
        parts.load_part(path)


def test_not_text_not_there_not_known(tmp_path: Path) -> None:
    binary = tmp_path / "b.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ProfileError, match="not UTF-8"):
        parts.load_part(binary)
    with pytest.raises(BookError, match="no file"):
        parts.load_part(tmp_path / "none.toml")
    with pytest.raises(UsageError, match="no part called 'flux-capacitor'") as caught:
        parts.load_part("flux-capacitor")
    assert "throttle-body" in caught.value.hint


def test_based_on_keeps_what_is_not_named(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    text = 'based_on = "throttle-body"\n[part]\nname = "my-body"\n[limits]\ncurrent_max_a = 12.5\n'
    path.write_text(text, encoding="utf-8")
    mine, base = parts.load_part(path), parts.load_part("throttle-body")
    assert mine.name == "my-body"
    assert (mine.simulated, base.simulated) == ("throttle-body", "throttle-body")
    assert mine.limits.current_max_a == 12.5
    assert mine.limits.stall_s == base.limits.stall_s
    assert mine.procedure == base.procedure


def test_based_on_something_unknown(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text("based_on = 7\n", encoding="utf-8")
    with pytest.raises(ProfileError, match="based_on = 7"):
        parts.load_part(path)


def test_a_profile_stored_with_a_run_comes_back_the_same() -> None:
    profile = parts.load_part("throttle-body")
    stored = profile.model_dump(mode="json", exclude_none=True)
    assert parts.profile_of(stored, "run 1") == profile
