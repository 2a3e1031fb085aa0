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
from audiotest.tones.guided import Guided, Halted, carry_out
from audiotest.tones.level import OutputScale
from audiotest.tones.live import IqBench, LiveBench
from audiotest.tones.signals import sine, step_up
from audiotest.tones.steps import Ask, Heard, Notebook, Step

RATE = 48000
SCALE = OutputScale(name="wire", full_scale_mv=100.0, ceiling_mv=50.0)


class Wire:
    """An output whose samples come back at the input, 20 ms at a time, faster than real time."""

    name, sample_rate_hz, rate_hz = "wire", RATE, RATE

    def __init__(self, stop_after=None, lose_at=None, late_s=0.0, break_at_s=(), dead=False):
        self.queue = np.zeros(0, dtype=np.float32)
        self.lock = threading.Lock()
        self.closed = threading.Event()
        self.stops = 0
        self.left, self.lose_at = stop_after, lose_at
        self.late_n, self.dead, self.plays = round(late_s * RATE), dead, 0
        self.breaks = [round(at * RATE) for at in break_at_s]

    def play(self, samples):
        with self.lock:
            self.plays += 1
            heard = np.concatenate([np.zeros(self.late_n, np.float32), samples])
            if self.breaks:
                at = self.late_n + self.breaks.pop(0)
                heard[at : at + RATE // 10] = 0.0
            self.queue = 0.0 * heard if self.dead else heard

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


class Noisy:
    """A wire with noise on what comes back."""

    name, sample_rate_hz = "noisy wire", RATE

    def __init__(self, wire, level_fs, rng):
        self.wire, self.level_fs, self.rng = wire, level_fs, rng

    def blocks(self):
        for block in self.wire.blocks():
            noise = self.level_fs * self.rng.standard_normal(len(block.samples))
            yield Block(samples=(block.samples + noise).astype(np.float32), lost_n=block.lost_n)

    def close(self):
        self.wire.close()


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


@pytest.mark.parametrize("late_s", [0.05, 0.3, 0.9, 1.4])
@pytest.mark.parametrize("noise_fs", [0.0, 0.01])
def test_a_tone_that_comes_late_is_measured_whole(late_s, noise_fs):
    rng = np.random.default_rng(1)
    wire = Wire(late_s=late_s)
    bench = bench_on(Noisy(wire, noise_fs, rng), player=wire, scale=SCALE)
    try:
        heard = bench.perform(tone_step())
    finally:
        bench.close()
    assert len(heard.samples) == round(0.4 * RATE)
    # 20 ms at either end as well: neither the silence before the tone nor its fading is measured.
    for part in (heard.samples, heard.samples[:960], heard.samples[-960:]):
        assert np.sqrt(2.0) * np.std(part) == pytest.approx(0.2, rel=0.05)
    assert ("late" in heard.remark) is (late_s > 0.2)
    assert wire.plays == 1


def test_a_tone_that_breaks_off_once_is_sent_again_or_heard_behind_the_break():
    for break_at_s in (0.35, 0.55, 0.75):
        wire = Wire(break_at_s=[break_at_s])
        bench = bench_on(wire, player=wire, scale=SCALE)
        try:
            heard = bench.perform(tone_step())
        finally:
            bench.close()
        assert np.sqrt(2.0) * np.std(heard.samples) == pytest.approx(0.2, rel=0.02)
        assert np.min([np.std(part) for part in heard.samples.reshape(-1, 960)]) > 0.13


def test_a_tone_that_always_breaks_off_is_given_up_in_silence():
    wire = Wire(break_at_s=[0.5] * 10)
    bench = bench_on(wire, player=wire, scale=SCALE)
    try:
        with pytest.raises(DeviceError, match="breaks off"):
            bench.perform(tone_step())
        assert wire.plays == 3
        assert len(wire.queue) == 0
    finally:
        bench.close()


def test_a_dead_path_is_no_late_tone():
    wire = Wire(dead=True)
    bench = bench_on(wire, player=wire, scale=SCALE)
    try:
        heard = bench.perform(tone_step())
        assert len(heard.samples) == round(0.4 * RATE)
        assert not heard.remark
        assert wire.plays == 1
    finally:
        bench.close()


def test_a_jump_of_20_db_is_no_late_tone():
    wire = Wire()
    bench = bench_on(wire, player=wire, scale=SCALE)
    jump = Step(
        prompt="",
        signal=step_up(1000.0, 20.0, 0.5, 0.6),
        level_mv=20.0,
        settle_s=0.1,
        listen_s=0.6,
        keyed=True,
    )
    try:
        heard = bench.perform(jump)
    finally:
        bench.close()
    assert not heard.remark
    assert np.max(np.abs(heard.samples[: RATE // 20])) < 0.05
    assert np.max(np.abs(heard.samples)) == pytest.approx(0.2, rel=0.02)


def test_what_the_bench_has_to_say_stands_once_in_the_notes():
    guided = Guided(
        lambda notebook: (yield from (Step(prompt="") for _ in range(3))), Notebook(procedure="x", title="x")
    )
    while guided.step is not None:
        guided.answer(Heard(samples=np.zeros(1), rate_hz=RATE, remark="late"))
    assert guided.report().notes == ("late",)


class Counter:
    """An input whose samples count up, 20 ms at a time."""

    name, sample_rate_hz = "counter", RATE

    def __init__(self):
        self.closed = threading.Event()

    def blocks(self):
        at_n = 0
        while not self.closed.is_set():
            yield Block(samples=np.arange(at_n, at_n + 960, dtype=np.float32), lost_n=0)
            at_n += 960
            time.sleep(0.002)

    def close(self):
        self.closed.set()


def test_steps_that_go_onward_leave_no_gap():
    bench = LiveBench(Counter(), lambda step: ())
    onward = Step(prompt="", settle_s=0.0, listen_s=0.11, onward=True)
    try:
        parts = []
        for _ in range(5):
            parts.append(bench.perform(onward).samples)
            time.sleep(0.05)
        heard = np.concatenate(parts)
        assert np.array_equal(np.diff(heard), np.ones(len(heard) - 1))
        assert len(heard) == 5 * round(0.11 * RATE)
        # A step of another kind in between listens to what comes after it has begun.
        time.sleep(0.05)
        apart = bench.perform(Step(prompt="", settle_s=0.0, listen_s=0.1)).samples
        assert apart[0] > heard[-1] + 1
    finally:
        bench.close()
