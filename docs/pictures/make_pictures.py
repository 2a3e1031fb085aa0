"""Make every picture of the docs that shows a window: ``python docs/pictures/make_pictures.py [FOLDER]``.

Nothing in them is drawn by hand: the practice set talks, the engine measures, and its controls are turned as
the advice says, over after over; the bench window rehearses on the simulated radio.
"""

import os
import sys
from contextlib import chdir
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QWidget

from audiotest.keep.sheetrecords import Stage as StageOfWork
from audiotest.window import sheetdesk
from audiotest.window.comparison import Comparison
from audiotest.window.envelope import outline
from audiotest.window.mainwindow import MainWindow
from audiotest.window.practice import AS_FOUND, PRACTICE_FEED, Adjustment, render_hiss, render_over
from audiotest.window.sheetdesk import OverSound, Question, TypedReading
from audiotest.window.sitting import OUTLINE_COLUMNS, Fresh
from tests.window.benchshots import Scene
from tests.window.sheetshots import TYPED
from tests.window.shots import BLOCK_N, RATE_HZ, Heard, Stage

OVERS = 4
LARGEST_BYTES = 150_000
HERE = Path(__file__).parent.resolve()


def turned(adjustment: Adjustment, window: MainWindow) -> Adjustment:
    """The practice set with its controls turned as the advice on the last over says."""
    latest = window.sitting.log.latest
    assert latest is not None
    gain = adjustment.mic_gain_db + (latest.advice.mic_gain_db or 0.0)
    return replace(
        adjustment,
        mic_gain_db=gain,
        ceiling_khz=adjustment.ceiling_khz * (latest.advice.deviation_factor or 1.0),
    )


def listen(stage: Stage, window: MainWindow, heard: Heard, audio: np.ndarray) -> None:
    """Push audio through the engine and draw as the timer would."""
    for start_n in range(0, len(audio) - BLOCK_N + 1, BLOCK_N):
        for over in heard.push(audio[start_n : start_n + BLOCK_N]):
            taken = window.sitting.log.take(over, f"14:{2 + len(window.sitting.log.heard):02}:40")
            codes = heard.tape.read(round(over.start_s * RATE_HZ), round(over.end_s * RATE_HZ))
            window._take(Fresh(heard=taken, outline=outline(codes / np.float32(32768.0), OUTLINE_COLUMNS)))
        window.bench.draw(heard, heard.reading)  # type: ignore[arg-type]
    window._slow_tick()
    stage.settle()


def commonest_colours(image: QImage) -> list[int]:
    """Up to 256 colours of a 32-bit picture, each the mean of those that agree in five bits a channel."""
    pixels = np.frombuffer(image.constBits(), dtype=np.uint32) & 0xFFFFFF
    colours, counts = np.unique(pixels, return_counts=True)
    _, place = np.unique((colours >> 3) & 0x1F1F1F, return_inverse=True)
    weight = np.bincount(place, weights=counts)
    parts = [
        np.rint(np.bincount(place, weights=counts * ((colours >> shift) & 0xFF)) / weight).astype(np.int64)
        for shift in (16, 8, 0)
    ]
    table = 0xFF000000 | parts[0] << 16 | parts[1] << 8 | parts[2]
    return [int(colour) for colour in table[np.argsort(-weight)[:256]]]


def save(widget: QWidget, folder: Path, name: str) -> None:
    """Write a picture in its 256 commonest colours: the file stays small, and nobody sees the difference."""
    image = widget.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
    image = image.convertToFormat(
        QImage.Format.Format_Indexed8,
        commonest_colours(image),
        Qt.ImageConversionFlag.AvoidDither | Qt.ImageConversionFlag.ThresholdDither,
    )
    file = folder / f"{name}.png"
    image.save(str(file), "PNG", 0)
    size = file.stat().st_size
    print(f"{file.name}: {size / 1000:.0f} kB{'' if size < LARGEST_BYTES else ', too large'}")


def main(folder: Path = HERE) -> None:
    """All of them."""
    bench_pictures(folder)
    window_pictures(folder)


def bench_pictures(folder: Path) -> None:
    """A limiting curve while it grows, and the finished sensitivity."""
    with TemporaryDirectory() as files:
        scene = Scene(Path(files), "light", 100, (1100, 620))
        scene.rehearse("limiting")
        scene.steps(15)
        save(scene.window, folder, "bench-measuring")
        scene.window.stop()
        scene.end()
        scene.rehearse("sensitivity")
        scene.end()
        save(scene.window, folder, "bench-measured")
        scene.window.shut()
        scene.window.deleteLater()


def window_pictures(folder: Path) -> None:
    """A sitting of four overs, seen near and far, in the middle of the next; what is done with it."""
    stage = Stage(folder, render_over(AS_FOUND, 0))
    window = stage.open()
    window.practice.setVisible(True)
    heard = Heard(PRACTICE_FEED)
    window.sitting.listening = heard  # type: ignore[assignment]
    hiss, adjustment = render_hiss(), AS_FOUND
    listen(stage, window, heard, hiss[: 2 * RATE_HZ])
    for number in range(OVERS):
        simulation = render_over(adjustment, number)
        listen(stage, window, heard, np.concatenate([simulation.audio, hiss[: RATE_HZ // 2]]))
        truth = simulation.truth[0]
        window.practice.show_adjustment(adjustment)
        window.practice.truth.setText(
            f"That over really had drive {truth.drive_db:+.1f} dB, peak {truth.peak_khz:.2f} kHz."
        )
        if number == 0:
            stage.settle()
            save(window, folder, "bench-first-over")
            from_afar(stage, window, folder)
        adjustment = turned(adjustment, window)
    window.view_deeds.appearance()
    listen(stage, window, heard, render_over(adjustment, OVERS).audio[: round(3.4 * RATE_HZ)])
    save(window, folder, "bench-dark-talking")
    window.view_deeds.appearance()
    # What is done in another thread otherwise is done at once here: there is no timer to wait for.
    window.sitting.later = lambda work, done: done(work())  # type: ignore[method-assign]
    compare_by_ear(stage, window, heard, folder)
    with TemporaryDirectory() as files, chdir(files):
        fill_sheet(stage, window, heard, folder)
    stage.close(window)


def from_afar(stage: Stage, window: MainWindow, folder: Path) -> None:
    """The far view, and back."""
    window.view_deeds.far()
    window.showNormal()
    window.resize(1280, 720)
    stage.settle()
    save(window, folder, "far-view")
    window.view_deeds.far()
    window.resize(1280, 720)


def sound_of(heard: Heard, number: int, window: MainWindow) -> np.ndarray:
    """Codes of an over of the sitting."""
    over = window.sitting.log.heard[number - 1].over
    return heard.tape.read(round(over.start_s * RATE_HZ), round(over.end_s * RATE_HZ))


def compare_by_ear(stage: Stage, window: MainWindow, heard: Heard, folder: Path) -> None:
    """The first over against the last, ready to be listened to."""
    overs = [window.sitting.log.heard[0], window.sitting.log.heard[-1]]
    box = Comparison(
        *overs, audio=lambda number: (sound_of(heard, number, window), RATE_HZ), replay=lambda _: None,
        play=lambda *_: None, hush=lambda: None, carrier_up=lambda: False, later=window.sitting.later,
        theme=window.theme, parent=window,
    )  # fmt: skip
    box.show()
    box.resize(700, 720)
    stage.settle()
    save(box, folder, "compare-by-ear")
    box.close()


def fill_sheet(stage: Stage, window: MainWindow, heard: Heard, folder: Path) -> None:
    """A sheet of an invented set: readings by hand, the first over as found, the last as left."""
    file = Path("sheets.sqlite")
    set_id = sheetdesk.add_set(file, "Alder", "27-40 FM", "A1043", "uk-27fm")
    visit_id = sheetdesk.open_visit(file, set_id, "uk-27fm", 20, None, "distorted when spoken to loudly")
    for stage_of_work, quantity, text in TYPED:
        reading = TypedReading(stage=stage_of_work, quantity=quantity, point="", text=text)
        sheetdesk.type_reading(file, visit_id, reading)
    overs: tuple[tuple[StageOfWork, int], ...] = (("found", 1), ("left", len(window.sitting.log.heard)))
    for stage_of_work, number in overs:
        sound = OverSound(
            heard=window.sitting.log.heard[number - 1], source="simulated radio",
            codes=sound_of(heard, number, window), rate_hz=RATE_HZ,
        )  # fmt: skip
        said = sheetdesk.put_over(file, visit_id, stage_of_work, sound)
    window.remember(sheets_file=str(file))
    window.sheet_deeds.job_sheets()
    page = window.sheet_deeds.page
    assert page is not None
    page.resize(1000, 640)
    page._look(Question(set_id=set_id, visit_id=visit_id))
    page.say(said)
    stage.settle()
    save(page, folder, "job-sheet")
    page.close()


if __name__ == "__main__":
    main(*(Path(name).resolve() for name in sys.argv[1:2]))
