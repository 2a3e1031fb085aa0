"""A bench without instruments: the simulated radio carries out a procedure's steps, its truth beside it."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from audiotest.radio.bench import ReceiverUnderTest, receive_levels
from audiotest.radio.iq import IqReceiver, beat_note, fm_iq
from audiotest.radio.link import BASEBAND_RATE_HZ, OverTruth, simulate
from audiotest.radio.micsocket import SetUnderTest, monitor, transmit
from audiotest.radio.receiver import digitise
from audiotest.radio.settings import Receiver, SoundCard, Timing, Transmitter
from audiotest.radio.voices import load_voice
from audiotest.records import Feed
from audiotest.tones.level import OutputScale, prepare
from audiotest.tones.signals import Signal
from audiotest.tones.steps import GENERATOR_OFF_DBM, Ask, Heard, Step

SCALE_KHZ_PER_FS = 8.0
MONITOR_RECEIVER = Receiver(
    if_bandwidth_khz=16.0, cnr_db=45.0, deemphasis_us=0.0, highpass_hz=None, lowpass_hz=None,
    scale_khz_per_fs=SCALE_KHZ_PER_FS,
)  # fmt: skip
"""A flat discriminator output close to the set: what a workshop's monitor is."""
MONITOR_FEED = Feed(
    name="simulated monitor", method="tone", scale_khz_per_fs=SCALE_KHZ_PER_FS, scale_uncertainty_db=0.1,
    deemphasis_us=0.0, tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=None,
    learned="simulated",
)  # fmt: skip
CARD = SoundCard(sample_rate_hz=48000, bits=16, noise_dbfs=-85.0)
OUTPUT = OutputScale(name="simulated output", full_scale_mv=500.0, ceiling_mv=700.0)
PITCH_HZ = 1200.0
VOICE = "english_reading"
SPOKEN = Timing(before_s=0.6, bare_carrier_s=0.4, after_s=0.2, end_s=0.6)
LEAD_S, AHEAD_S = 0.2, 2.0
"""Left out while filters settle, and made at once; both hold whole periods of a tone of 5, 10 ... Hz."""
SPOKEN_AROUND_S = SPOKEN.before_s + SPOKEN.bare_carrier_s + SPOKEN.after_s + SPOKEN.end_s

DEMO_SET = SetUnderTest(
    transmitter=Transmitter(
        ceiling_khz=2.1, preemphasis_us=750.0, limiter="hard", splatter=("butterworth", 3, 3200.0),
        mic_highpass_hz=150.0, hum_hz=100.0, hum_khz=0.004,
    ),
    onset_mv=4.0, noise_mv=0.01, offset_hz=180.0,
)  # fmt: skip
DEMO_RECEIVER = ReceiverUnderTest(
    receiver=Receiver(
        if_bandwidth_khz=8.0, deemphasis_us=750.0, highpass_hz=250.0, lowpass_hz=3200.0, scale_khz_per_fs=15.0
    ),
    noise_figure_db=8.0, squelch_open_dbm=-121.0, squelch_close_dbm=-123.5,
)  # fmt: skip
"""Invented sets: no real one has these figures."""


@dataclass(slots=True, kw_only=True)
class Rehearsal:
    """Carries out steps on the simulated radio; a `Bench`.

    ``unit`` is the transmitter under test, ``receiver`` the receiver under test. ``truths`` holds what was
    true of each spoken over; ``played_s`` adds up how long sound went out, ``silent`` says that none does.
    ``on_step`` is called before each step; whatever it raises interrupts the procedure. ``hand`` gives the
    tone and millivolts that the technician sends from a generator of his own during a step, or None.
    """

    unit: SetUnderTest = DEMO_SET
    receiver: ReceiverUnderTest = DEMO_RECEIVER
    monitor_receiver: Receiver = MONITOR_RECEIVER
    card: SoundCard = CARD
    output: OutputScale = OUTPUT
    seed: int = 1
    on_step: Callable[[Step], None] = lambda step: None
    hand: Callable[[Step], tuple[Signal, float] | None] = lambda step: None
    silent: bool = True
    played_s: float = 0.0
    mic_gain_db: float = 26.0
    squelch_in_use: bool = False
    squelch_open: bool = False
    tone_hz: float = 1000.0
    deviation_khz: float = 1.5
    level_dbm: float | None = None
    truths: list[OverTruth] = field(default_factory=list)
    ahead: NDArray[np.inexact] = field(default_factory=lambda: np.zeros(0))
    ahead_at: tuple[float | None, ...] = ()

    def perform(self, step: Step) -> Heard:
        """Set what is asked for as suggested, send the signal, and return what the receiver makes of it."""
        self.silent = step.signal is None
        self.on_step(step)
        answers = tuple(self._set(ask) for ask in step.asks)
        self.seed += 1
        by_hand = self.hand(step)
        if by_hand is not None:
            step = replace(step, signal=by_hand[0], level_mv=by_hand[1])
        if step.onward:
            self.silent = True
            return Heard(samples=self._onward(step.listen_s), rate_hz=48000, answers=answers)
        samples, rate_hz = self._hear(step) if step.listen_s > 0.0 else (np.zeros(0), 48000)
        self.silent = True
        skip = round(step.settle_s * rate_hz)
        return Heard(samples=samples[skip:], rate_hz=rate_hz, answers=answers)

    def silence(self) -> None:
        """Nothing sounds after this."""
        self.silent = True

    def _set(self, ask: Ask) -> float:
        value = ask.suggested
        if ask.setting == "generator_dbm":
            self.level_dbm = None if value == GENERATOR_OFF_DBM else value
            self._follow_squelch()
        elif ask.setting == "generator_tone_hz":
            self.tone_hz = value
        elif ask.setting == "generator_deviation_khz":
            self.deviation_khz = value
        elif ask.setting == "squelch":
            self.squelch_in_use = value > 0.0
        elif ask.setting == "mic_gain_db":
            self.mic_gain_db += value
        else:
            sender = self.unit.transmitter
            self.unit = replace(
                self.unit, transmitter=replace(sender, ceiling_khz=sender.ceiling_khz * value)
            )
        return value

    def _follow_squelch(self) -> None:
        """Open or shut by the level's history: between the two marks it stays as it was."""
        opens, shuts = self.receiver.squelch_open_dbm, self.receiver.squelch_close_dbm
        if opens is None or shuts is None:
            self.squelch_open = True
        elif self.level_dbm is None or self.level_dbm < shuts:
            self.squelch_open = False
        elif self.level_dbm >= opens:
            self.squelch_open = True

    def _hear(self, step: Step) -> tuple[NDArray[np.inexact], int]:
        seconds = step.settle_s + step.listen_s
        if step.speak:
            return self._spoken(seconds)
        if step.feed == "beat" and step.signal is None:
            return self._beat(seconds, self.unit.offset_hz if step.keyed else 0.0)
        if step.keyed:
            return self._transmitted(step, seconds)
        if self.squelch_in_use and not self.squelch_open:
            rng = np.random.default_rng(self.seed)
            return digitise(np.zeros(round(seconds * 48000)), self.card, rng), 48000
        heard = receive_levels(
            [self.level_dbm], seconds, self.tone_hz, self.deviation_khz,
            replace(self.receiver, squelch_open_dbm=None, squelch_close_dbm=None), self.card, seed=self.seed,
        )  # fmt: skip
        return heard.audio, heard.sample_rate_hz

    def _onward(self, listen_s: float) -> NDArray[np.inexact]:
        """The next piece of a receiver's audio that runs on for as long as nobody touches the generator."""
        count, at = round(listen_s * 48000), (self.level_dbm, self.tone_hz, self.deviation_khz)
        if len(self.ahead) < count or at != self.ahead_at:
            lead = Step(prompt="", settle_s=LEAD_S, listen_s=max(AHEAD_S, listen_s))
            self.ahead, self.ahead_at = self._hear(lead)[0][round(LEAD_S * 48000) :], at
        piece, self.ahead = self.ahead[:count], self.ahead[count:]
        return piece

    def _transmitted(self, step: Step, seconds: float) -> tuple[NDArray[np.inexact], int]:
        rate_hz = 48000 if step.signal is None else step.signal.rate_hz
        signal_mv = np.zeros(round(seconds * rate_hz))
        if step.signal is not None:
            # Through the same gate as the sound card: the ceiling is refused here too.
            sent = prepare(step.signal, step.level_mv, self.output)[: len(signal_mv)]
            signal_mv[: len(sent)] = sent * self.output.full_scale_mv * np.sqrt(2.0)
            self.played_s += len(sent) / rate_hz
        modulation = transmit(signal_mv, rate_hz, self.unit, seed=self.seed)
        if step.feed != "audio":
            receiver = IqReceiver(sample_rate_hz=48000, offset_hz=self.unit.offset_hz)
            made = fm_iq(modulation.deviation_khz, modulation.rate_hz, receiver, seed=self.seed)
            if step.feed == "beat":
                return beat_note(made.iq, made.sample_rate_hz, PITCH_HZ), made.sample_rate_hz
            return made.iq, made.sample_rate_hz
        heard = monitor(modulation, self.unit, self.monitor_receiver, self.card, seed=self.seed)
        return heard, self.card.sample_rate_hz

    def _beat(self, seconds: float, offset_hz: float) -> tuple[NDArray[np.inexact], int]:
        """An unmodulated carrier in a receiver for CW: the set's, or the reference on the nominal one."""
        receiver = IqReceiver(sample_rate_hz=48000, offset_hz=offset_hz)
        made = fm_iq(np.zeros(round(seconds * BASEBAND_RATE_HZ)), BASEBAND_RATE_HZ, receiver, seed=self.seed)
        return beat_note(made.iq, made.sample_rate_hz, PITCH_HZ), made.sample_rate_hz

    def _spoken(self, seconds: float) -> tuple[NDArray[np.inexact], int]:
        """One over of a voice through the set's microphone, hiss before and after."""
        voice, rate_hz = load_voice(VOICE)
        speech_n = round(max(seconds - SPOKEN_AROUND_S, 1.0) * rate_hz)
        start_n = self.seed * speech_n % max(len(voice) - speech_n, 1)
        sender = replace(
            self.unit.transmitter, drive_db=None, mic_gain_db=self.mic_gain_db, hum_hz=None, ambient_db=-38.0
        )
        made = simulate(
            voice[start_n : start_n + speech_n], rate_hz, sender, self.monitor_receiver, self.card, SPOKEN,
            seed=self.seed,
        )  # fmt: skip
        self.truths += made.truth
        return made.audio, made.sample_rate_hz
