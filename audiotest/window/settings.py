"""What the window remembers between two sittings: a small TOML file, read with suspicion."""

import os
import tomllib
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import tomli_w
from platformdirs import user_config_path, user_documents_path

SCHEMA = "audiotest-window-1"
FILE_NAME = "window.toml"
APPEARANCES = ("system", "light", "dark")
SIZES_PERCENT = (80, 100, 125, 150, 175, 200)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Everything that is remembered; empty text stands for "not chosen"."""

    appearance: str = "system"
    size_percent: int = 100
    limits: str = "uk-27fm"
    device: str = ""
    channel: int = 0
    feed_file: str = ""
    output_file: str = ""
    output_device: str = ""
    output_feeds_no_transmitter: bool = False
    clips_folder: str = ""
    recordings_folder: str = ""
    sheets_file: str = ""
    sound_cue: bool = False
    spectrum_average: bool = True
    scope_view: str = "both"
    persistence: bool = False
    pictures: bool = True
    set_up: bool = False
    geometry: str = ""


def settings_path() -> Path:
    """The file of this user."""
    return user_config_path("audiotest", appauthor=False) / FILE_NAME


def clips_folder(settings: Settings) -> Path:
    """Where kept overs go."""
    if settings.clips_folder:
        return Path(settings.clips_folder)
    return user_documents_path() / "audiotest clips"


def recordings_folder(settings: Settings) -> Path:
    """Where each recording gets a folder of its own."""
    if settings.recordings_folder:
        return Path(settings.recordings_folder)
    return user_documents_path() / "audiotest recordings"


def load_settings(path: Path) -> Settings:
    """Read the file; what is missing, unknown or of the wrong kind is left at its default.

    A spoilt file must not keep the window from opening.
    """
    try:
        with open(path, "rb") as file:
            document = tomllib.load(file)
    except (OSError, ValueError):
        return Settings()
    usual = asdict(Settings())
    chosen: dict[str, Any] = {
        name: value for name, value in document.items() if name in usual and type(value) is type(usual[name])
    }
    for name, allowed in (("appearance", APPEARANCES), ("size_percent", SIZES_PERCENT)):
        if chosen.get(name, allowed[0]) not in allowed:
            del chosen[name]
    return Settings(**chosen)


def save_settings(settings: Settings, path: Path) -> bool:
    """Write the file, whole or not at all; False when it cannot be written."""
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_text(tomli_w.dumps({"schema": SCHEMA} | asdict(settings)), encoding="utf-8")
        part.replace(path)
    except (OSError, UnicodeEncodeError):
        # A folder whose name is no text cannot be remembered either.
        with suppress(OSError):
            part.unlink()
        return False
    return True
