"""Recording from the window: the key, the menu, the feed line, the far view, the folder; and a kill."""

import json
import signal
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QFileDialog

from audiotest.feeds.simulated import SimulatedSource
from audiotest.keep.parts import codes_24
from audiotest.records import LimitSet
from audiotest.window import app
from audiotest.window.fartext import far_view
from audiotest.window.farview import FarPane
from audiotest.window.mainwindow import MainWindow
from audiotest.window.practice import PRACTICE_FEED
from audiotest.window.presenter import FeedLine
from audiotest.window.recording import RecordingLine
from audiotest.window.settings import Settings, load_settings, save_settings
from tests.keep.killing import known
from tests.window.handed import place_of, recordings, whole
from tests.window.handling import main_window, press, wait
from tests.window.killedwindow import LENGTH_S, RATE_HZ
from tests.window.processes import Told, environment

pytestmark = pytest.mark.window
CONTROL = Qt.KeyboardModifier.ControlModifier


@pytest.fixture
def window(qtbot: Any, limits: LimitSet, tmp_path: Path) -> Iterator[MainWindow]:
    tapes = str(tmp_path / "tapes")
    with main_window(limits, tmp_path, feed=PRACTICE_FEED, recordings_folder=tapes) as made:
        made.timer.start()
        yield made


def test_one_key_starts_and_stops_it_and_the_state_is_in_sight(
    window: MainWindow, qtbot: Any, tmp_path: Path
) -> None:
    sound = known(RATE_HZ, 30.0)
    window.sitting.open_source(lambda: SimulatedSource(sound, RATE_HZ, real_time=True))
    wait(qtbot, lambda: window.sitting.listening is not None)
    label, entry = window.bench.feed_labels["recording"], window.deeds["record"]
    assert label.isHidden()
    assert not entry.isChecked()
    press(qtbot, window, Qt.Key.Key_R, CONTROL)
    assert label.isVisible()
    wait(qtbot, lambda: label.text() == "● recording 0:01")
    assert entry.isChecked()
    assert label.accessibleName() == "feed recording: ● recording 0:01"
    (folder,) = recordings(tmp_path / "tapes")
    assert label.toolTip().endswith(f"0 overs cut out: {folder}")
    assert window.statusBar().currentMessage() == f"recording to {folder}"
    # All of it stands there, whatever has to give way.
    window.resize(900, 600)
    window.remember(size_percent=200)
    window.apply_settings()
    qtbot.wait(100)
    assert label.width() >= label.fontMetrics().horizontalAdvance(label.text())
    press(qtbot, window, Qt.Key.Key_F)
    assert window.far_pane.view.recording.startswith("● recording 0:0")
    press(qtbot, window, Qt.Key.Key_R, CONTROL)
    wait(qtbot, lambda: "● finishing" in window.far_pane.view.recording)
    press(qtbot, window, Qt.Key.Key_Escape)
    wait(qtbot, lambda: label.isHidden())
    assert not entry.isChecked()
    wait(qtbot, lambda: "recorded, 0 overs cut out" in window.statusBar().currentMessage())
    kept = whole(folder)
    place_of(kept, codes_24(sound))
    assert len(kept) > 3 * RATE_HZ


@pytest.mark.parametrize("appearance", ["light", "dark"])
@pytest.mark.parametrize("size_percent", [100, 200])
@pytest.mark.parametrize(
    "words", ["● recording 1:02:07", "⚠ recording 12:07, has gaps", "⚠ recording stopped"]
)
def test_across_the_room_no_long_message_makes_its_state_smaller(
    window: MainWindow, words: str, size_percent: int, appearance: str
) -> None:
    window.remember(size_percent=size_percent, appearance=appearance)
    window.apply_settings()
    pane = FarPane()
    pane.resize(1280, 720)
    heights = set()
    for said in ("talking 0:03", f"recording to /home/{'somebody/' * 30}recording 2026-03-01"):
        view = far_view(None, window.sitting.limits, None, said=said)
        pane.show_view(replace(view, recording=words), window.theme)
        picture = pane.grab().toImage()
        ink = QColor(window.theme.ink).rgb()
        rows = [
            y for y in range(round(0.925 * 720), 720) if any(picture.pixel(x, y) == ink for x in range(640))
        ]
        heights.add(rows[-1] - rows[0] + 1)
    # Letters of 2.5 % of the height, 7 mm on a screen 30 cm high, are 8 minutes of arc at three metres; an
    # eye that needs no glasses reads 5 (ISO 8596: a visual acuity of 1).
    (height,) = heights
    assert height >= 0.025 * 720


def test_a_key_that_is_leant_on_does_its_deed_once(window: MainWindow) -> None:
    # Qt asks this of an action when the display sends a key again because it is held.
    repeating = {name for name, action in window.deeds.items() if action.autoRepeat()}
    assert repeating == {"earlier", "newer", "larger", "smaller"}


def test_trouble_with_the_disk_is_marked_in_the_line_and_unticks_the_menu(
    window: MainWindow, qtbot: Any, tmp_path: Path
) -> None:
    (tmp_path / "tapes").write_text("somebody's")
    sound = known(RATE_HZ, 30.0)
    window.sitting.open_source(lambda: SimulatedSource(sound, RATE_HZ, real_time=True))
    wait(qtbot, lambda: window.sitting.listening is not None)
    window.deeds["record"].trigger()
    label = window.bench.feed_labels["recording"]
    wait(qtbot, lambda: label.text() == "⚠ recording stopped")
    assert "nothing can be recorded there" in label.toolTip()
    assert not window.deeds["record"].isChecked()
    assert "Listening goes on." in window.statusBar().currentMessage()
    assert (tmp_path / "tapes").read_text() == "somebody's"
    assert window.theme.warn in label.styleSheet()


def test_trouble_with_input_and_recording_in_large_letters_stays_on_the_screen(
    window: MainWindow, qtbot: Any
) -> None:
    window.timer.stop()
    window.resize(1280, 720)
    window.remember(size_percent=200)
    window.apply_settings()
    qtbot.wait(50)
    width = window.width()
    trouble = "bench card: the input stopped delivering: check the plug and open it again"
    feed, state = window.bench.feed, window.bench.feed_labels["state"]
    line = FeedLine(source="bench card", state=trouble, scale="full scale 8.00 kHz", hiss="hiss guard: waits",
                    lost="no drop-outs", trouble=True)  # fmt: skip
    feed.show_line(line, window.theme)
    feed.show_recording(RecordingLine(text="⚠ recording stopped", tip="full", trouble=True), window.theme)
    qtbot.wait(50)
    assert window.width() == width
    recording = window.bench.feed_labels["recording"]
    assert recording.width() >= recording.fontMetrics().horizontalAdvance(recording.text())
    # What is cut off is in the tool tip, and its beginning in sight.
    assert state.toolTip() == f"⚠ {trouble}"
    assert state.width() >= state.fontMetrics().horizontalAdvance("⚠ bench card: the")


@pytest.mark.parametrize("name", ["clips_folder", "recordings_folder"])
def test_the_folders_are_chosen_in_the_set_up_and_remembered(
    window: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setattr("audiotest.window.setupdialog._devices_or_reason", lambda: ((), (), "none"))
    window.set_up()
    assert window.dialog is not None
    group = window.dialog.folders
    other = next(each for each in group.paths if each != name)
    before = group.paths[other].text()
    assert group.paths[name].text() == getattr(window.settings, name)
    group.buttons[name].click()
    chooser = group.findChild(QFileDialog)
    assert chooser.fileMode() == QFileDialog.FileMode.Directory
    stick = str(tmp_path / "stick")
    chooser.fileSelected.emit(stick)
    chooser.reject()
    assert group.paths[name].text() == stick
    assert group.paths[name].accessibleName().endswith(f": {stick}")
    assert group.paths[other].text() == before
    assert getattr(load_settings(tmp_path / "window.toml"), name) == stick


def test_asked_for_at_the_start_it_records_from_the_beginning(
    qapp: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "window.toml"
    save_settings(Settings(set_up=True, recordings_folder=str(tmp_path / "chosen")), file)
    sound = known(RATE_HZ, 30.0)
    monkeypatch.setattr(
        "audiotest.window.mainwindow.open_input",
        lambda *_: SimulatedSource(sound, RATE_HZ, real_time=True),
    )
    assert app.run(device="card", record_in=tmp_path / "tapes", seconds=2.5, settings_file=file) == 0
    (folder,) = recordings(tmp_path / "tapes")
    assert place_of(whole(folder), codes_24(sound)) < RATE_HZ
    assert '"stopped"' in (folder / "recording.jsonl").read_text().splitlines()[-1]
    # What was asked for once takes the place of nothing that was chosen.
    assert load_settings(file).recordings_folder == str(tmp_path / "chosen")
    assert load_settings(file).device == "card", "the file has been written"


def test_a_folder_chosen_meanwhile_is_remembered(window: MainWindow, tmp_path: Path) -> None:
    file = tmp_path / "window.toml"
    window.remembered_instead["recordings_folder"] = "chosen before"
    window.remember(size_percent=125)
    assert load_settings(file).recordings_folder == "chosen before"
    assert window.settings.recordings_folder == str(tmp_path / "tapes")
    window.remember(recordings_folder="chosen now")
    window.remember(size_percent=100)
    assert load_settings(file).recordings_folder == "chosen now"


@pytest.fixture
def recorded(tmp_path: Path) -> Iterator[Told]:
    """A window in a process of its own that records a known input, for a second so far."""
    command = [sys.executable, "-m", "tests.window.killedwindow", str(tmp_path)]
    told = Told(command, environment(QT_QPA_PLATFORM="offscreen", HOME=str(tmp_path)), tmp_path / "log")
    try:
        told.wait_for(lambda _: bool(list(tmp_path.glob("tapes/recording */part 0001.flac"))))
        began_n = told.heard[-1]["handed_n"]
        told.wait_for(lambda line: line["handed_n"] >= began_n + 2.7 * RATE_HZ)
        yield told
    finally:
        told.end()


def handed_at_the_end(told: Told) -> int:
    """How many samples had been handed over when the process ended."""
    assert told.process.stdout is not None
    said = [line for line in told.process.stdout.read().splitlines(keepends=True) if line.endswith("\n")]
    return int((json.loads(said[-1]) if said else told.heard[-1])["handed_n"])


def test_asked_to_end_the_window_finishes_the_files(recorded: Told, tmp_path: Path) -> None:
    recorded.process.send_signal(signal.SIGTERM)
    handed_n = handed_at_the_end(recorded)
    assert recorded.process.wait(60.0) == 130
    (folder,) = recordings(tmp_path / "tapes")
    kept = whole(folder)
    assert place_of(kept, codes_24(known(RATE_HZ, LENGTH_S))) + len(kept) == handed_n
    assert '"stopped"' in (folder / "recording.jsonl").read_text().splitlines()[-1]


def test_killed_the_window_has_recorded_all_but_the_last_second(recorded: Told, tmp_path: Path) -> None:
    recorded.process.send_signal(signal.SIGKILL)
    handed_n = handed_at_the_end(recorded)
    (folder,) = recordings(tmp_path / "tapes")
    kept = whole(folder)
    start_n = place_of(kept, codes_24(known(RATE_HZ, LENGTH_S)))
    lost_s = (handed_n - start_n - len(kept)) / RATE_HZ
    print(f"\nlost {lost_s:.2f} s of {(handed_n - start_n) / RATE_HZ:.1f} s")
    assert len(kept) > 1.5 * RATE_HZ
    assert lost_s <= 1.0
