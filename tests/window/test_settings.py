import os
from pathlib import Path

import pytest

from audiotest.window.settings import Settings, clips_folder, load_settings, recordings_folder, save_settings


def test_everything_is_remembered(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "window.toml"
    chosen = Settings(
        appearance="dark", size_percent=150, limits="pmr446", device="line in", channel=2,
        feed_file="f.toml", recordings_folder="/tapes", sound_cue=True, set_up=True, geometry="abc",
        scope_view="raw",
    )  # fmt: skip
    assert save_settings(chosen, path)
    assert load_settings(path) == chosen
    assert [file.name for file in path.parent.iterdir()] == ["window.toml"]


@pytest.mark.parametrize("text", ["", "not toml [", "size_percent = 'huge'\nappearance = 3", "\x00"])
def test_a_spoilt_file_gives_the_usual_settings(tmp_path: Path, text: str) -> None:
    path = tmp_path / "window.toml"
    path.write_text(text)
    assert load_settings(path) == Settings()


def test_good_values_beside_bad_ones_survive(tmp_path: Path) -> None:
    path = tmp_path / "window.toml"
    path.write_text("appearance = 'purple'\nsize_percent = 125\nchannel = true\nunknown = 1\n")
    assert load_settings(path) == Settings(size_percent=125)


def test_nowhere_to_write_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    assert not save_settings(Settings(), tmp_path / "file" / "window.toml")


def test_a_name_that_is_no_text_is_not_remembered_and_harms_nothing(tmp_path: Path) -> None:
    file = tmp_path / "window.toml"
    assert save_settings(Settings(size_percent=150), file)
    assert not save_settings(Settings(recordings_folder=os.fsdecode(b"M\xfcller")), file)
    assert load_settings(file) == Settings(size_percent=150)
    assert list(tmp_path.iterdir()) == [file]


def test_folders(tmp_path: Path) -> None:
    assert recordings_folder(Settings(recordings_folder=str(tmp_path))) == tmp_path
    assert recordings_folder(Settings()).name == "audiotest recordings"
    assert clips_folder(Settings(clips_folder=str(tmp_path))) == tmp_path
    assert clips_folder(Settings()).name == "audiotest clips"
