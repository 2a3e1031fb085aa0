"""Every control of every window is driven by some test: here, or where this list says."""

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import QCoreApplication, QEvent, Qt
from PySide6.QtWidgets import QDialogButtonBox, QFileDialog, QPushButton, QTextBrowser, QWidget

from audiotest.feeds.inputs import InputDevice
from audiotest.feeds.scale import save_feed
from audiotest.keep.sheets import Sheets
from audiotest.records import LimitSet, Over
from audiotest.tones.rehearsal import MONITOR_FEED
from audiotest.window import benchwindow
from audiotest.window.actions import DEEDS
from audiotest.window.mainwindow import MainWindow
from audiotest.window.settings import load_settings
from audiotest.window.sheetdesk import Question
from audiotest.window.sheetpage import SheetPage
from tests.window.controls import controls_of
from tests.window.driven import DRIVEN, PRESSED
from tests.window.handling import main_window, press, put
from tests.window.sheetshots import fill

pytestmark = pytest.mark.window
MakeOver = Callable[..., Over]
CARD = InputDevice(index=3, name="Bench card", channels=2, host_api="ALSA", default_rate_hz=48000)


@pytest.fixture
def window(
    qtbot: Any, limits: LimitSet, tmp_path: Path, over: MakeOver, monkeypatch: Any
) -> Iterator[MainWindow]:
    monkeypatch.setattr("audiotest.window.setupdialog._devices_or_reason", lambda: ((CARD,), (), ""))
    monkeypatch.setattr(benchwindow, "list_inputs", lambda: (CARD,))
    with main_window(limits, tmp_path, sheets_file=str(fill(tmp_path))) as made:
        made.sitting.later = lambda work, done: done(work())  # type: ignore[method-assign]
        put(made, over())
        put(made, over(5.0, start_s=20.0))
        yield made


@pytest.fixture
def page(window: MainWindow) -> SheetPage:
    window.sheet_deeds.job_sheets()
    found = window.sheet_deeds.page
    assert found is not None
    found._look(Question(set_id=1))
    return found


def opened(window: MainWindow, page: SheetPage) -> Iterator[tuple[str, QWidget]]:
    """Every window by its name, one after the other."""
    yield "main", window
    window.set_up()
    assert window.dialog is not None
    yield "set-up", window.dialog
    window.over_deeds.compare()
    assert window.box is not None
    yield "comparison", window.box
    window.box.close()
    window.keys()
    yield "keys", window.box
    window.box.close()
    yield "sheets", page
    page.readings.setCurrentCell(1, 1)
    asked = {"new set": page.ask_set, "new sheet": page.ask_visit}
    asked |= {name: action.trigger for name, action in page.work.actions.items()}
    for name, ask in asked.items():
        ask()
        assert page._form is not None
        yield name, page._form
        page._form.reject()
    window.bench_deeds.bench_measurements()
    assert window.bench_deeds.page is not None
    yield "bench", window.bench_deeds.page


def test_no_control_is_left_out(window: MainWindow, page: SheetPage) -> None:
    found = {name: controls_of(each) for name, each in opened(window, page)}
    assert found == {name: set(controls) for name, controls in DRIVEN.items()}


def test_the_tests_that_drive_them_are_there() -> None:
    here = Path(__file__).parent
    names = {
        name
        for file in here.glob("test_*.py")
        for name in re.findall(r"^def (test_\w+)", file.read_text(), re.M)
    }
    wanted = {test for controls in DRIVEN.values() for test in controls.values()} | set(PRESSED.values())
    assert wanted - names == set()
    assert set(PRESSED) == {deed.name for deed in DEEDS}


def test_the_keys_that_no_other_test_presses(
    window: MainWindow, qtbot: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    done: list[str] = []
    monkeypatch.setattr(window.sitting, "open_practice", lambda: done.append("practise"))
    press(qtbot, window, Qt.Key.Key_P)
    press(qtbot, window, Qt.Key.Key_T)
    assert done == ["practise"]
    assert "only the simulated set" in window.sitting.message
    press(qtbot, window, Qt.Key.Key_H)
    assert window.player.stopped == 1  # type: ignore[attr-defined]
    window.bench.meters.latch()
    press(qtbot, window, Qt.Key.Key_X)
    assert not window.bench.meters.overloaded
    scope = window.bench.scope.plot.getViewBox()
    usual = scope.viewRange()[0]
    scope.setXRange(1.0, 2.0, padding=0.0)
    press(qtbot, window, Qt.Key.Key_W)
    assert scope.viewRange()[0] == pytest.approx(usual)
    control = Qt.KeyboardModifier.ControlModifier
    press(qtbot, window, Qt.Key.Key_Plus, control)
    assert window.settings.size_percent == 125
    press(qtbot, window, Qt.Key.Key_Minus, control)
    assert window.settings.size_percent == 100
    press(qtbot, window, Qt.Key.Key_F1)
    assert "Keys" in window.box.windowTitle()  # type: ignore[union-attr]
    window.box.close()  # type: ignore[union-attr]
    window.deeds["cautions"].trigger()
    assert "dummy load" in window.box.text()  # type: ignore[union-attr]
    window.box.close()  # type: ignore[union-attr]
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    press(qtbot, window, Qt.Key.Key_J)
    assert window.sheet_deeds.page is not None
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    press(qtbot, window, Qt.Key.Key_M)
    assert window.bench_deeds.page is not None
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    press(qtbot, window, Qt.Key.Key_Q, control)
    assert not window.isVisible()


def test_the_practice_set_is_keyed_and_left_alone(window: MainWindow) -> None:
    class Set:
        talked, automatic, truths = 0, True, ()

        def talk(self) -> None:
            self.talked += 1

    window.sitting.practice = made = Set()  # type: ignore[assignment]
    window.practice.talk.click()
    window.practice.automatic.click()
    assert made.talked == 1
    assert not made.automatic
    window.sitting.practice = None


def test_every_control_of_the_set_up(
    window: MainWindow, qtbot: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    listened: list[Any] = []
    learned: list[dict[str, Any]] = []
    monkeypatch.setattr(window, "listen", lambda: listened.append(window.settings))
    monkeypatch.setattr(window.sitting, "learn", lambda file, **way: learned.append(way))
    window.set_up()
    dialog = window.dialog
    assert dialog is not None
    buttons = {button.text().replace("&", ""): button for button in dialog.findChildren(QPushButton)}
    dialog.device.clear()
    buttons["Look again"].click()
    assert dialog.device.currentData() == "Bench card"
    qtbot.keyClick(dialog.channel, Qt.Key.Key_End)
    buttons["Listen to it"].click()
    assert (listened[0].device, listened[0].channel) == ("Bench card", 2)
    qtbot.keyClick(dialog.deemphasis, Qt.Key.Key_End)
    dialog.tone.setValue(800.0)
    dialog.deviation.setValue(1.8)
    buttons["Learn from this tone"].click()
    dialog.bandwidth.setValue(7.0)
    buttons["Learn roughly from the hiss"].click()
    assert learned == [
        {"deemphasis_us": 530.0, "tone_hz": 800.0, "deviation_khz": 1.8},
        {"deemphasis_us": 530.0, "if_bandwidth_khz": 7.0},
    ]
    file = tmp_path / "monitor.toml"
    save_feed(MONITOR_FEED, file)
    buttons["Take a feed file …"].click()
    chooser = dialog.findChild(QFileDialog)
    chooser.fileSelected.emit(str(file))
    chooser.reject()
    assert window.sitting.input_feed == MONITOR_FEED
    buttons["No scale"].click()
    assert window.sitting.input_feed is None
    buttons["Done"].click()
    assert not dialog.isVisible()
    assert load_settings(tmp_path / "window.toml").set_up


def test_pages_of_text_and_the_comparison_are_put_away(window: MainWindow) -> None:
    for show, has_text in ((window.keys, True), (window.over_deeds.compare, False)):
        show()
        box = window.box
        assert box is not None
        assert box.isVisible()
        assert (box.findChild(QTextBrowser) is not None) == has_text
        next(button for button in box.findChildren(QPushButton) if button.text() == "&Done").click()
        QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)
        assert not any(each.isVisible() for each in window.findChildren(type(box)) if each.isWindow())


def ok(form: QWidget) -> None:
    form.findChild(QDialogButtonBox).button(QDialogButtonBox.StandardButton.Ok).click()


def test_the_forms_of_a_set_and_its_sheet(window: MainWindow, page: SheetPage, qtbot: Any) -> None:
    page.new_set.click()
    form: Any = page._form
    for field, text in ((form.maker, "Birch"), (form.model, "7"), (form.serial, "9")):
        qtbot.keyClicks(field, text)
    qtbot.keyClick(form.service, Qt.Key.Key_End)
    ok(form)
    assert page.heading.text().startswith("This set has no sheet yet")
    page.new_visit.click()
    form = page._form
    qtbot.keyClick(form.limits, Qt.Key.Key_End)
    qtbot.keyClick(form.channel, Qt.Key.Key_Up)
    form.channel.setValue(0)
    form.assigned.setValue(145.5)
    qtbot.keyClicks(form.complaint, "no audio")
    ok(form)
    with Sheets(page.path) as sheets:
        radio, visit = sheets.get_set(2), sheets.get_visit(2)
    assert (radio.name, radio.service) == ("Birch 7, serial 9", "amateur-25k")
    assert (visit.limits, visit.channel, visit.assigned_mhz) == ("amateur-25k", None, 145.5)
    assert visit.complaint == "no audio"


def test_lists_tabs_and_buttons_of_the_sheets(window: MainWindow, page: SheetPage, qtbot: Any) -> None:
    bar = page.tabs.tabBar()
    bar.setFocus()
    qtbot.keyClick(bar, Qt.Key.Key_Right)
    assert page.course.isVisible()
    with Sheets(page.path) as sheets:
        second = sheets.open_visit(1)
    page.refresh()
    page.course.setCurrentRow(0)
    assert page.visit_id == second
    page.course.setCurrentRow(1)
    assert page.visit_id == 1
    qtbot.keyClick(bar, Qt.Key.Key_Right)
    page.notes.setCurrentRow(0)
    assert page.notes.currentItem().text().startswith("Complaint: distorted")
    menu = page.work.button.menu()
    assert [action.text() for action in menu.actions()] == [
        action.text() for action in page.work.actions.values()
    ]
    page.close_button.click()
    assert not page.isVisible()


def test_every_field_of_the_bench(window: MainWindow, qtbot: Any, tmp_path: Path) -> None:
    window.bench_deeds.bench_measurements()
    bench = window.bench_deeds.page
    assert bench is not None
    fields = bench.choice.fields
    fields.show_inputs((CARD,))
    bench.choice.live.click()
    assert not bench.choice.rehearse.isChecked()
    bench.choice.rehearse.click()
    assert bench.choice.rehearse.isChecked()
    before = fields.filled()
    for box in (fields.limits, fields.device, fields.channel, fields.deemphasis, fields.seen_by):
        qtbot.keyClick(box, Qt.Key.Key_End)
    for spin, value in (
        (fields.start_mv, 1.5), (fields.start_dbm, -50.0), (fields.nominal, 27.6), (fields.tolerance, 500.0),
        (fields.null_khz, 1.5), (fields.own_mv, 3.0),
    ):  # fmt: skip
        spin.setValue(value)
    fields.lower.click()
    fields.swapped.click()
    for field, name in ((fields.output_file, "out.toml"), (fields.feed_file, "feed.toml")):
        field.choose.click()
        chooser = field.findChild(QFileDialog)
        chooser.fileSelected.emit(name)
        chooser.reject()
    assert fields.filled() == replace(
        before, limits="amateur-25k", device="Bench card", channel=2, output_file="out.toml",
        feed_file="feed.toml", start_mv=1.5, start_dbm=-50.0, nominal_mhz=27.6, tolerance_hz=500.0,
        lower_sideband=not before.lower_sideband, deemphasis_us=530.0, swapped=True, own_mv=3.0, iq=True,
        wanted_khz=1.5,
    )  # fmt: skip


def test_what_the_bench_offers_at_the_end(window: MainWindow, qtbot: Any, tmp_path: Path) -> None:
    window.bench_deeds.bench_measurements()
    bench = window.bench_deeds.page
    assert bench is not None
    bench.choice.choose("carrier-null")
    bench.choice.start.click()
    qtbot.waitUntil(lambda: bench.run is not None and bench.run.moment.steps_done >= 3, timeout=180000)
    bench.running.stop.click()
    qtbot.waitUntil(lambda: bench.pages.currentWidget() is bench.outcome, timeout=60000)
    bench.outcome.table.selectAll()
    bench.outcome.buttons["feed"].click()
    assert "a rehearsal teaches" in bench.outcome.said.text()
    bench.outcome.buttons["keep"].setEnabled(True)
    bench.outcome.buttons["keep"].click()
    assert "rehearsal" in bench.outcome.said.text()
    bench.outcome.buttons["json"].setEnabled(True)
    bench.outcome.buttons["json"].click()
    chooser: Any = bench.box
    chooser.fileSelected.emit(str(tmp_path / "result.json"))
    chooser.reject()
    assert (tmp_path / "result.json").read_text().startswith("{")
    bench.outcome.buttons["list"].click()
    assert bench.pages.currentWidget() is bench.choice
