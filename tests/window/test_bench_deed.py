"""The main window opens the bench measurements by a key and by the menu, and takes them with it."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from audiotest.records import LimitSet
from audiotest.window import benchwindow
from audiotest.window.mainwindow import MainWindow
from audiotest.window.settings import load_settings
from tests.window.handling import main_window

pytestmark = pytest.mark.window


@pytest.fixture
def window(
    qtbot: Any, limits: LimitSet, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[MainWindow]:
    monkeypatch.setattr(benchwindow, "list_inputs", tuple)
    with main_window(limits, tmp_path) as made:
        yield made


def test_it_opens_once_and_follows_the_colours(window: MainWindow) -> None:
    window.deeds["bench_measurements"].trigger()
    page = window.bench_deeds.page
    assert page is not None
    assert page.isVisible()
    assert page.isWindow()
    window.deeds["bench_measurements"].trigger()
    assert window.bench_deeds.page is page
    window.view_deeds.appearance()
    page.tick()
    assert page.theme.name == "dark"


def test_closing_the_main_window_ends_a_measurement(window: MainWindow) -> None:
    window.deeds["bench_measurements"].trigger()
    page = window.bench_deeds.page
    assert page is not None
    page.choice.choose("sinad")
    page.choice.start.click()
    run = page.run
    assert run is not None
    window.close()
    assert run.wait(0.1)
    assert not page.isVisible()


def test_the_output_file_is_remembered(window: MainWindow, tmp_path: Path) -> None:
    window.remember(output_file="bench-out.toml")
    assert load_settings(tmp_path / "window.toml").output_file == "bench-out.toml"
    window.deeds["bench_measurements"].trigger()
    page = window.bench_deeds.page
    assert page is not None
    assert page.choice.fields.output_file.text() == "bench-out.toml"
