"""Make the pictures of docs/window.md: ``python docs/pictures/make_pictures.py``.

Nothing in them is drawn by hand: the practice set talks, the engine measures, and its controls are turned as
the advice says, over after over.
"""

import os
import sys
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QWidget

from audiotest.window.envelope import outline
from audiotest.window.mainwindow import MainWindow
from audiotest.window.practice import AS_FOUND, PRACTICE_FEED, Adjustment, render_hiss, render_over
from audiotest.window.sitting import OUTLINE_COLUMNS, Fresh
from tests.window.shots import BLOCK_N, RATE_HZ, Heard, Stage

OVERS = 4
LARGEST_BYTES = 150_000
HERE = Path(__file__).parent


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


def save(widget: QWidget, name: str) -> None:
    """Write a picture in its 256 commonest colours: the file stays small, and nobody sees the difference."""
    image = widget.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
    image = image.convertToFormat(
        QImage.Format.Format_Indexed8,
        commonest_colours(image),
        Qt.ImageConversionFlag.AvoidDither | Qt.ImageConversionFlag.ThresholdDither,
    )
    file = HERE / f"{name}.png"
    image.save(str(file), "PNG", 0)
    size = file.stat().st_size
    print(f"{file.name}: {size / 1000:.0f} kB{'' if size < LARGEST_BYTES else ', too large'}")


def main() -> None:
    """A sitting of four overs, seen from near, in the middle of the next, and from afar."""
    stage = Stage(HERE, render_over(AS_FOUND, 0))
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
            save(window, "bench-first-over")
            window.view_deeds.far()
            window.showNormal()
            window.resize(1280, 720)
            stage.settle()
            save(window, "far-view")
            window.view_deeds.far()
            window.resize(1280, 720)
        adjustment = turned(adjustment, window)
    window.view_deeds.appearance()
    listen(stage, window, heard, render_over(adjustment, OVERS).audio[: round(3.4 * RATE_HZ)])
    save(window, "bench-dark-talking")
    stage.close(window)


if __name__ == "__main__":
    main()
