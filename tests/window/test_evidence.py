"""Cursors, zoom, mask, legend, comparison and labels: what explains the advice."""

import re
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, QEvent, QPointF, Qt
from PySide6.QtTest import QTest
from scipy.signal import welch

from audiotest.records import LimitSet, Over
from audiotest.window.bench import Bench
from audiotest.window.comparison import Comparison, long_term_dbfs
from audiotest.window.fartext import far_view
from audiotest.window.labels import CutLabel, FittedLabel
from audiotest.window.practice import PRACTICE_FEED
from audiotest.window.practicepane import PracticePane
from audiotest.window.presenter import OverLog
from audiotest.window.spectra import response_mask, spectrum_size
from audiotest.window.textpage import TextPage
from audiotest.window.theme import LIGHT

pytestmark = pytest.mark.window
RATE_HZ = 48000
MakeOver = Callable[..., Over]


def discard(widget: Any) -> None:
    widget.close()
    widget.deleteLater()
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete.value)


@pytest.fixture
def bench(qapp: Any, limits: LimitSet) -> Iterator[Bench]:
    practice = PracticePane(lambda _: None, lambda _: None, lambda: None, lambda _: None)
    made = Bench(limits, PRACTICE_FEED, practice)
    made.dress(LIGHT, limits, PRACTICE_FEED)
    made.resize(1280, 680)
    made.show()
    yield made
    discard(made)


def sine(hz: float, amplitude: float, count: int) -> np.ndarray:
    return (amplitude * np.sin(2 * np.pi * hz * np.arange(count) / RATE_HZ)).astype(np.float32)


def test_the_scope_cursor_reads_kilohertz_of_deviation(bench: Bench) -> None:
    # 8 kHz at full scale: a 1 kHz tone of amplitude 0.25 swings 2 kHz; the scale holds at 1 kHz.
    bench.scope.draw(sine(1000.0, 0.25, bench.scope.span_n(RATE_HZ)), RATE_HZ)
    cursor = bench.cursors["scope"]
    cursor.move(0.25, 0.0)
    time_read, value = bench.scope.read_off(0.25, 0.0)
    assert (time_read.value, time_read.unit, value.unit) == (0.25, "ms", "kHz")
    # The trigger is at a rise through zero: a quarter of a period later is the top. 5 %: one sample.
    assert value.value == pytest.approx(2.0, rel=0.05)
    assert "kHz" in bench.captions["scope"].text()
    cursor.set_mark()
    cursor.move(0.75, 0.0)
    found = re.search(r"from mark: \+0\.5 ms  −(\S+) kHz", bench.captions["scope"].text())
    assert found is not None
    assert float(found[1]) == pytest.approx(4.0, rel=0.05)
    cursor.remove()
    assert bench.captions["scope"].text().startswith("Scope:")


def test_the_spectrum_cursor_finds_the_tone(bench: Bench) -> None:
    n = spectrum_size(RATE_HZ)
    bench.spectrum.draw(sine(100 * RATE_HZ / n, 0.1, n), RATE_HZ)
    read = bench.spectrum.read_off(100 * RATE_HZ / n, -50.0)
    assert read[0].unit == "Hz"
    assert read[1].value == pytest.approx(-23.01, abs=0.1)


def test_the_hiss_around_an_over_does_not_bury_its_peaks(bench: Bench) -> None:
    n = spectrum_size(RATE_HZ)
    hiss = 0.3 * np.random.default_rng(4).normal(size=n).astype(np.float32)
    spectrum = bench.spectrum
    for step in range(30):  # a second and a half of tone, its first and last moments hiss
        sound = hiss if step in (0, 1, 28, 29) else sine(1000.0, 0.01, n) + 3e-4 * hiss
        spectrum.draw(sound, RATE_HZ, over_s=0.5 + 0.05 * step)
    spectrum.draw(hiss, RATE_HZ, over_s=None)
    assert spectrum._memory is not None
    held, hz = spectrum._memory.peak_dbfs, spectrum._hz
    assert held.max() == pytest.approx(-43.0, abs=1.5)  # the tone's -40 - 3.01, and what lies between lines
    assert held[(hz > 2000) & (hz < 3000)].max() < -80.0
    assert len(spectrum._mask.getData()[0]) > 0


def test_the_waterfall_cursor_reads_level_and_time_and_nothing_outside(bench: Bench) -> None:
    level = np.full(400, -100.0, dtype=np.float32)
    level[80:90] = -20.0
    bench.waterfall.add(level)
    hz, ago, dbfs = bench.waterfall.read_off(5000.0 * 85 / 400, 0.02)
    assert (hz.unit, ago.unit) == ("Hz", "s ago")
    assert dbfs.value == pytest.approx(-20.0, abs=0.4)
    assert bench.waterfall.read_off(-5.0, 0.0) == ()
    assert bench.waterfall.read_off(100.0, 1e3) == ()


def test_cursor_and_zoom_by_keys(bench: Bench) -> None:
    plot, cursor = bench.spectrum.plot, bench.cursors["spectrum"]
    bench.spectrum.draw(sine(1000.0, 0.1, spectrum_size(RATE_HZ)), RATE_HZ)
    QTest.keyClick(plot, Qt.Key.Key_Right)
    assert cursor.at is not None
    assert cursor.at[0] == pytest.approx(2550.0)  # from the middle by a hundredth of 5 kHz
    QTest.keyClick(plot, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert cursor.at[0] == pytest.approx(2050.0)
    QTest.keyClick(plot, Qt.Key.Key_Up)
    QTest.keyClick(plot, Qt.Key.Key_Space)
    assert cursor.mark == cursor.at
    QTest.keyClick(plot, Qt.Key.Key_Plus)
    (left, right), _ = plot.getViewBox().viewRange()
    assert right - left == pytest.approx(4000.0)
    assert (2050.0 - left) / (right - left) == pytest.approx(0.41)  # the cursor stays where it is
    QTest.keyClick(plot, Qt.Key.Key_PageUp)
    low, high = plot.getViewBox().viewRange()[1]
    assert high - low == pytest.approx(110.0 / 1.25)
    bench.spectrum.reset_zoom()
    assert plot.getViewBox().viewRange()[0] == pytest.approx([0.0, 5000.0])
    QTest.keyClick(plot, Qt.Key.Key_Escape)
    assert cursor.at is None
    assert cursor.mark is None


def test_the_cursor_follows_the_mouse(bench: Bench) -> None:
    plot = bench.spectrum.plot
    bench.spectrum.draw(sine(1000.0, 0.1, spectrum_size(RATE_HZ)), RATE_HZ)
    place = plot.getViewBox().mapViewToScene(QPointF(1000.0, -50.0))
    plot.scene().sigMouseMoved.emit(place)
    at = bench.cursors["spectrum"].at
    assert at is not None
    assert at[0] == pytest.approx(1000.0, abs=30.0)


def test_the_mask_hangs_on_the_end_of_the_band() -> None:
    hz = np.arange(0.0, 5001.0, 50.0, dtype=np.float32)
    peaks = np.full(len(hz), -60.0, dtype=np.float32)
    peaks[hz == 2950.0] = -40.0
    x, y = response_mask(hz, peaks, 3000.0, deemphasised=False)
    assert (x[0], x[-1]) == (3000.0, 5000.0)
    assert np.all(y == -40.0)
    _, falling = response_mask(hz, peaks, 3000.0, deemphasised=True)
    # 6 dB an octave: 20 log10(5/3) = 4.44 dB from 3 to 5 kHz.
    assert falling[-1] == pytest.approx(-44.44, abs=0.01)
    nothing, _ = response_mask(hz, np.full(len(hz), -120.0, dtype=np.float32), 3000.0, deemphasised=True)
    assert len(nothing) == 0


def test_a_small_page_leaves_the_pictures_out_and_the_wish_counts(bench: Bench) -> None:
    assert bench.pictures.isVisibleTo(bench)
    bench.resize(1280, 300)
    bench.fit()
    assert not bench.pictures.isVisibleTo(bench)
    bench.resize(1280, 680)
    bench.fit()
    assert bench.pictures.isVisibleTo(bench)
    bench.pictures_wanted = False
    bench.fit()
    assert not bench.pictures.isVisibleTo(bench)


def test_long_term_spectrum_is_that_of_scipy() -> None:
    codes = np.random.default_rng(5).normal(scale=2000.0, size=5 * RATE_HZ).astype(np.int16)
    n = spectrum_size(RATE_HZ)
    hz, power = welch(codes / 32768.0, RATE_HZ, window="hann", nperseg=n, scaling="spectrum")
    got_hz, level = long_term_dbfs(codes, RATE_HZ)
    np.testing.assert_allclose(got_hz, hz[: len(got_hz)], rtol=1e-6)
    np.testing.assert_allclose(level, 10.0 * np.log10(power[: len(level)]), atol=1e-4)


def test_long_term_spectrum_of_a_tone_and_of_too_little() -> None:
    codes = np.round(32768 * sine(1000.0, 0.5, RATE_HZ)).astype(np.int16)
    hz, level = long_term_dbfs(codes, RATE_HZ)
    assert hz[np.argmax(level)] == pytest.approx(1000.0, abs=12.0)
    # Amplitude 0.5 is -9.03 dBFS; a Hann window loses up to 1.42 dB between two lines.
    assert -10.5 <= level.max() <= -9.0
    assert hz[-1] <= 5000.0
    assert len(long_term_dbfs(codes[:100], RATE_HZ)[0]) == 0


def test_a_comparison_shows_both_and_replays_either(qapp: Any, limits: LimitSet, over: MakeOver) -> None:
    log = OverLog(limits, PRACTICE_FEED)
    first, second = log.take(over(19.0, 2.3), "10:00:00"), log.take(over(6.0, 1.6), "10:00:20")
    codes = np.round(32768 * sine(500.0, 0.5, RATE_HZ)).astype(np.int16)
    played: list[int] = []
    outside: dict[str, Any] = {
        "replay": played.append, "play": lambda *_: None, "hush": lambda: None, "carrier_up": lambda: False,
        "later": lambda work, done: done(work()), "theme": LIGHT,
    }  # fmt: skip
    box = Comparison(first, second, audio=lambda _: (codes, RATE_HZ), **outside)
    assert "drive: 19.0 → 6.0 dB (−13.0)" in box.text()
    assert len(box.plot.getPlotItem().listDataItems()) == 2
    for button in box.replay_buttons:
        button.click()
    assert played == [1, 2]
    gone = Comparison(first, second, audio=lambda _: (codes[:0], RATE_HZ), **outside)
    assert gone.plot.getPlotItem().listDataItems() == []
    assert "over 1 is too short or too quiet" in gone.listening.said.text()
    assert not gone.listening.plays[0].isEnabled()
    for dialog in (box, gone):
        discard(dialog)


def test_letters_grow_and_shrink_with_their_room_and_nothing_is_lost(qapp: Any) -> None:
    label = FittedLabel(1.0, 3.0, lines=4.0, spoken="advice")
    text = "Mic gain down, about 11 dB: the limiter clips 20 % of the speech."
    label.setText(text)
    label.resize(600, 200)
    label.fit()
    large = label.font().pointSizeF()
    label.resize(220, 90)
    label.fit()
    small = label.font().pointSizeF()
    assert large > small >= qapp.font().pointSizeF() - 0.1
    label.resize(120, 30)
    label.fit()
    assert label.text() == text == label.toolTip()
    assert label.accessibleName() == f"advice: {text}"
    discard(label)


def test_labels_write_negative_numbers_with_a_minus_sign(qapp: Any) -> None:
    for label in (FittedLabel(1.0, 3.0, lines=4.0), CutLabel()):
        label.setText("drive -3.5 dB after -12 to +1, two-tone, clips/-3.wav")
        assert label.text() == "drive −3.5 dB after −12 to +1, two-tone, clips/-3.wav"
        discard(label)


def test_a_line_asks_for_all_its_room_only_when_it_is_never_cut(qapp: Any) -> None:
    cut, whole = CutLabel(), CutLabel(whole=True, spoken="feed state")
    for label in (cut, whole):
        label.setText("talking 0:07, and a good deal more than that")
    assert cut.minimumSizeHint().width() < whole.minimumSizeHint().width() == whole.sizeHint().width()
    assert whole.accessibleName().startswith("feed state: talking")
    for label in (cut, whole):
        label.show()
        label.grab()
        discard(label)


def test_the_page_of_keys_fits_the_screen(qapp: Any) -> None:
    page = TextPage("Keys", "<br>".join(["a line"] * 300))
    page.show()
    assert page.height() <= page.screen().availableSize().height()
    discard(page)


def test_the_far_strip_is_a_band_on_the_scale_of_the_map(limits: LimitSet, over: MakeOver) -> None:
    log = OverLog(limits, PRACTICE_FEED)
    strip = far_view(log.take(over(19.0, 2.3), "10:00:00"), limits, None).strip
    assert strip is not None
    assert (strip.band_low, strip.band_high) == (16.0, 22.0)
    assert (strip.good_low, strip.good_high) == (-3.0, 8.0)
    bounded = far_view(log.take(over(None, 1.2, high_db=-6.0), "10:00:00"), limits, None)
    assert bounded.figure == "drive under −6 dB"
    assert bounded.strip is not None
    assert (bounded.strip.band_low, bounded.strip.band_high) == (bounded.strip.low, -6.0)
    unsure = far_view(log.take(over(8.5, 2.2, spread_db=9.0), "10:00:00"), limits, None)
    assert unsure.then == "not certain: try another over"
