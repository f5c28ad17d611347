"""Settings: defaults, then a file, then the environment; a wrong value names its key."""

from __future__ import annotations

from pathlib import Path

import pytest

from pattern.errors import InvalidSettings
from pattern.settings import Settings, load_settings


def test_the_environment_stands_over_the_file(tmp_path: Path) -> None:
    file = tmp_path / "settings.toml"
    file.write_text("max_megapixels = 20\ntooth_min_px = 60\n")
    settings = load_settings(
        file, {"CONTACT_PATTERN_MAX_MEGAPIXELS": "30", "CONTACT_PATTERN_ARCHIVE": "/jobs"}
    )
    assert (settings.max_megapixels, settings.tooth_min_px) == (30.0, 60.0)


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("tooth_min_px = 3", "tooth_min_px"),
        ("no_such_key = 1", "no_such_key"),
        ("film_mm = 'thick'", "film_mm"),
    ],
)
def test_a_wrong_value_names_its_key(tmp_path: Path, text: str, key: str) -> None:
    file = tmp_path / "settings.toml"
    file.write_text(text)
    with pytest.raises(InvalidSettings) as caught:
        load_settings(file, {})
    assert caught.value.subject.split(": ")[-1] == key


def test_a_missing_and_a_broken_file_are_named(tmp_path: Path) -> None:
    with pytest.raises(InvalidSettings, match="cannot be opened"):
        load_settings(tmp_path / "none.toml", {})
    broken = tmp_path / "broken.toml"
    broken.write_text("a = = 1")
    with pytest.raises(InvalidSettings, match="is not TOML"):
        load_settings(broken, {})


def test_the_fingerprint_changes_with_any_value() -> None:
    assert Settings().fingerprint == Settings().fingerprint
    assert Settings().fingerprint != Settings(film_mm=0.01).fingerprint


def test_a_mistyped_variable_is_not_passed_over() -> None:
    with pytest.raises(InvalidSettings, match="CONTACT_PATTERN_MAX_MEGAPIXLES"):
        load_settings(None, {"CONTACT_PATTERN_MAX_MEGAPIXLES": "30"})
