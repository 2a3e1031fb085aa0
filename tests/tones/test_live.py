"""The bench with instruments, on a wire from its own output to its own input."""

import threading
import time

import numpy as np
import pytest

from audiotest.errors import DeviceError, RequestError
from audiotest.feeds.protocol import Block
from audiotest.measure.tone import fit_sine
from audiotest.radio.iq import IqReceiver, fm_tone_iq
from audiotest.tones.frequency import frequency_by_iq
from audiotest.tones.guided import Halted, carry_out
from audiotest.tones.level import OutputScale
from audiotest.tones.live import IqBench, LiveBench
from audiotest.tones.signals import sine
from audiotest.tones.steps import Ask, Step

RATE = 48000
SCALE = OutputScale(name="wire", full_scale_mv=100.0, ceiling_mv=50.0)


class Wire:
    """An output whose samples come back at the input, 20 ms at a time, faster than real time."""

    name, sample_rate_hz, rate_hz = "wire", RATE, RATE

    def __init__(self, stop_after=None, lose_at=None):
        self.queue = np.zeros(0, dtype=np.float32)
        self.lock = threading.Lock()
        self.closed = threading.Event()
        self.stops = 0
        self.left, self.lose_at = stop_after, lose_at

    def play(self, samples):
        with self.lock:
            self.queue = samples

    def stop(self):
        with self.lock:
            self.queue = np.zeros(0, dtype=np.float32)
            self.stops += 1

    def close(self):
        self.closed.set()

    def blocks(self):
        count = 0
        while not self.closed.is_set():
            count += 1
            if self.left is not None and count > self.left:
                return
            with self.lock:
                part, self.queue = self.queue[:960], self.queue[960:]
            samples = np.zeros(960, dtype=np.float32)
            samples[: len(part)] = part
            yield Block(samples=samples, lost_n=1 if count == self.lose_at else 0)
            time.sleep(0.002)


def tone_step(level_mv=20.0):
    return Step(
        prompt="tone", signal=sine(1000.0, 1.0), level_mv=level_mv, settle_s=0.2, listen_s=0.4, keyed=True,
        asks=(Ask(setting="generator_dbm", words="level", suggested=-100.0),),
    )  # fmt: skip


def bench_on(wire, **more):
    return LiveBench(wire, lambda step: tuple(ask.suggested for ask in step.asks), delay_s=0.2, **more)


def test_what_is_sent_comes_back_at_its_level_and_silence_follows():
    wire = Wire()
    bench = bench_on(wire, player=wire, scale=SCALE)
    try:
        heard = bench.perform(tone_step())
        assert heard.answers == (-100.0,)
        assert fit_sine(heard.samples, RATE).amplitude == pytest.approx(0.2, rel=0.01)
        quiet = bench.perform(Step(prompt="listen", listen_s=0.1))
        assert np.max(np.abs(quiet.samples)) == 0.0
        assert wire.stops >= 2
    finally:
        bench.close()


def test_over_the_ceiling_nothing_is_asked_and_nothing_sounds():
    wire, asked = Wire(), []
    bench = LiveBench(wire, lambda step: asked.append(step) or (), player=wire, scale=SCALE)
    try:
        with pytest.raises(RequestError, match="ceiling"):
            bench.perform(tone_step(level_mv=40.0))
        assert not asked
        assert len(wire.queue) == 0
    finally:
        bench.close()


def test_without_a_learned_output_nothing_is_sent():
    wire = Wire()
    bench = bench_on(wire)
    try:
        with pytest.raises(RequestError, match="no output is learned"):
            bench.perform(tone_step())
        with pytest.raises(RequestError, match="stereo input"):
            bench.perform(Step(prompt="", feed="iq"))
    finally:
        bench.close()


@pytest.mark.parametrize(
    ("wire", "words"), [(Wire(stop_after=8), "ended"), (Wire(lose_at=12), "lost 1 samples")]
)
def test_a_failing_input_leaves_silence(wire, words):
    bench = bench_on(wire, player=wire, scale=SCALE)
    try:
        with pytest.raises(DeviceError, match=words):
            bench.perform(tone_step())
        assert len(wire.queue) == 0
        assert wire.stops >= 1
    finally:
        bench.close()


def test_a_technician_who_interrupts_leaves_silence():
    wire = Wire()

    def walk_out(step):
        raise KeyboardInterrupt

    bench = LiveBench(wire, walk_out, player=wire, scale=SCALE)
    try:
        with pytest.raises(KeyboardInterrupt):
            bench.perform(tone_step())
        assert len(wire.queue) == 0
    finally:
        bench.close()


def test_a_halt_from_another_thread_ends_the_step_in_silence():
    wire = Wire()
    bench = bench_on(wire, player=wire, scale=SCALE)
    long = Step(prompt="tone", signal=sine(1000.0, 30.0), level_mv=20.0, listen_s=20.0, keyed=True)
    threading.Timer(0.2, bench.halt).start()
    try:
        with pytest.raises(Halted):
            bench.perform(long)
        assert len(wire.queue) == 0
        with pytest.raises(Halted):
            bench.perform(tone_step())
        assert len(wire.queue) == 0
    finally:
        bench.close()


def test_a_halt_while_somebody_is_asked_lets_no_signal_out():
    wire, played = Wire(), []

    def halted_meanwhile(step):
        bench.halt()
        return (-100.0,)

    wire.play = played.append
    bench = LiveBench(wire, halted_meanwhile, player=wire, scale=SCALE)
    try:
        with pytest.raises(Halted):
            bench.perform(tone_step())
        assert not played
    finally:
        bench.close()


@pytest.mark.parametrize("swapped", [False, True])
def test_frequency_error_from_a_stereo_input(swapped):
    def record(seconds):
        made = fm_tone_iq(1000.0, 0.01, seconds, IqReceiver(sample_rate_hz=RATE, offset_hz=-350.0), seed=2)
        return made.stereo()[:, ::-1] if swapped else made.stereo()

    bench = IqBench(record, RATE, lambda step: (), swapped=swapped)
    report = carry_out(frequency_by_iq(), bench)
    assert report.complete
    assert report.figures[0].value == pytest.approx(-350.0, abs=1.0)
    with pytest.raises(RequestError):
        bench.perform(tone_step())
