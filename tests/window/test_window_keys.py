"""The main window's deeds by key and menu, and what of them is remembered."""

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QMainWindow, QMenu

from audiotest.records import Over
from audiotest.window.actions import DEEDS, Deed
from audiotest.window.mainwindow import MainWindow
from audiotest.window.menus import fill_menus
from audiotest.window.settings import load_settings
from tests.window.handling import press, put

pytestmark = pytest.mark.window
MakeOver = Callable[..., Over]


@pytest.fixture
def window(practising: MainWindow) -> MainWindow:
    return practising


def test_far_view_by_key_and_back(window: MainWindow, qtbot: Any, over: MakeOver) -> None:
    put(window, over(19.0, 2.3))
    press(qtbot, window, Qt.Key.Key_F)
    assert window.pages.currentWidget() is window.far_pane
    assert window.isFullScreen()
    assert window.far_pane.accessibleName().startswith("MIC GAIN DOWN 14 dB")
    press(qtbot, window, Qt.Key.Key_Escape)
    assert window.pages.currentWidget() is window.bench
    assert not window.isFullScreen()
    assert window.menuBar().isVisible()


def test_without_an_over_every_deed_says_something_and_nothing_breaks(window: MainWindow, qtbot: Any) -> None:
    for key in (Qt.Key.Key_R, Qt.Key.Key_K, Qt.Key.Key_D, Qt.Key.Key_C, Qt.Key.Key_BracketLeft, Qt.Key.Key_H):
        press(qtbot, window, key)
    assert window.sitting.message == "two overs are needed to compare"
    window.talk()
    assert "simulated set" in window.sitting.message


def test_what_is_chosen_is_remembered(window: MainWindow, qtbot: Any, tmp_path: Path) -> None:
    press(qtbot, window, Qt.Key.Key_B)
    press(qtbot, window, Qt.Key.Key_V)
    press(qtbot, window, Qt.Key.Key_G)
    press(qtbot, window, Qt.Key.Key_A)
    press(qtbot, window, Qt.Key.Key_U)
    window.view_deeds.larger()
    found = load_settings(tmp_path / "window.toml")
    assert found.appearance == "dark"
    assert found.scope_view == "flattened"
    assert found.persistence
    assert not found.spectrum_average
    assert found.sound_cue
    assert found.size_percent == 125
    window.view_deeds.smaller()
    window.view_deeds.smaller()
    window.view_deeds.smaller()
    assert load_settings(tmp_path / "window.toml").size_percent == 80


def test_every_deed_has_a_method_and_no_key_is_given_twice(window: MainWindow) -> None:
    keys = [key for deed in DEEDS for key in deed.keys]
    assert len(keys) == len(set(keys))
    for deed in DEEDS:
        assert callable(window.deed(deed.name)), deed.name
        assert window.deeds[deed.name] in window.actions(), deed.name
        if deed.name != "cautions":
            assert deed.keys, deed.name


def test_one_more_line_in_the_table_is_one_more_entry_with_its_key(qtbot: Any) -> None:
    made, done = QMainWindow(), []
    qtbot.addWidget(made)
    table = (
        Deed(name="first", menu="&One", text="&First", keys=("1",)),
        Deed(name="second", menu="&Two", text="&Second", keys=("2", "Ctrl+2"), checkable=True),
        Deed(name="third", menu="&One", text="&Third", keys=()),
    )
    actions = fill_menus(made, table, done.append)
    made.show()
    made.activateWindow()
    qtbot.waitUntil(made.isActiveWindow)
    assert [[entry.text() for entry in menu.actions()] for menu in made.menuBar().findChildren(QMenu)] == [
        ["&First", "&Third"], ["&Second"],
    ]  # fmt: skip
    press(qtbot, made, Qt.Key.Key_1)
    made.menuBar().hide()
    press(qtbot, made, Qt.Key.Key_2, Qt.KeyboardModifier.ControlModifier)
    actions["third"].trigger()
    assert done == ["first", "second", "third"]
    assert actions["second"].isChecked()
    holders = dict.fromkeys(("over_deeds", "view_deeds", "sheet_deeds", "bench_deeds"))
    with pytest.raises(KeyError):
        MainWindow.deed(SimpleNamespace(**holders), "none such")  # type: ignore[arg-type]


def test_keys_and_cautions_are_shown(window: MainWindow) -> None:
    window.keys()
    assert "far view" in window.box.text().lower()
    assert "in a picture: set or take away the mark" in window.box.text()
    window.box.close()
    window.cautions()
    assert "dummy load" in window.box.text()
    window.box.close()


def test_pictures_are_left_out_by_key_and_that_is_remembered(
    window: MainWindow, qtbot: Any, tmp_path: Path
) -> None:
    press(qtbot, window, Qt.Key.Key_N)
    assert not window.bench.pictures.isVisible()
    assert not load_settings(tmp_path / "window.toml").pictures
    press(qtbot, window, Qt.Key.Key_N)
    assert window.bench.pictures.isVisible()
