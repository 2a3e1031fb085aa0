"""What a procedure needs, what is said before it, and what is opened for it."""

import time

import numpy as np
import pytest

from audiotest.errors import DeviceError, MeasureError, RequestError
from audiotest.feeds.protocol import Block
from audiotest.standards.limits import get_limits
from audiotest.tones import opening
from audiotest.tones.byhand import ENTRIES
from audiotest.tones.catalogue import PROCEDURES, Given
from audiotest.tones.cautions import GENERATOR, HEADLINE
from audiotest.tones.guided import Halted, carry_out
from audiotest.tones.keying import LONGEST_KEYED_S, Keying
from audiotest.tones.level import OutputScale
from audiotest.tones.needs import NEEDS, needs_of
from audiotest.tones.rehearsal import MONITOR_FEED, Rehearsal
from audiotest.tones.steps import Report, Step

SCALE = OutputScale(name="out", full_scale_mv=100.0, ceiling_mv=20.0)


def test_every_procedure_says_what_it_needs():
    assert set(NEEDS) <= set(ENTRIES)
    for name, entry in ENTRIES.items():
        needs = needs_of(name, entry)
        assert needs.start_mv <= entry.sends
        assert ("output" in needs.words) == entry.sends
        assert ("signal generator" in needs.words) <= (not entry.keys)


@pytest.mark.parametrize("name", ["distortion", "two-tone", "frequency", "frequency-iq", "squelch", "rx-hum"])
def test_the_steps_are_about_as_many_as_said(name):
    steps = []
    given = Given(feed=MONITOR_FEED, limits=get_limits("uk-27fm"))
    carry_out(PROCEDURES[name].make(given), Rehearsal(on_step=steps.append))
    assert 0.7 * NEEDS[name].steps_n <= len(steps) <= 1.4 * NEEDS[name].steps_n


def test_whoever_keys_hears_that_it_is_transmitted():
    for entry in ENTRIES.values():
        cautions = opening.cautions_for(entry)
        assert cautions[0] == (HEADLINE if entry.keys else GENERATOR)
        assert ("socket" in opening.announcement(entry)) >= entry.sends


def test_no_output_no_tones():
    with pytest.raises(RequestError, match="limiting sends at known millivolts"):
        opening.require_output("limiting", PROCEDURES["limiting"], None, "learn one")
    opening.require_output("squelch", PROCEDURES["squelch"], None, "learn one")
    assert opening.most_mv(None) is None
    assert opening.most_mv(SCALE) == 20.0


def test_an_output_that_cannot_be_opened_lets_the_input_go(monkeypatch):
    class Input:
        closed = False

        def close(self):
            self.closed = True

    source = Input()

    def refuse(device, rate_hz):
        raise DeviceError("the output cannot be opened", "close other programs")

    monkeypatch.setattr(opening, "open_input", lambda device, channel: source)
    monkeypatch.setattr(opening, "SoundOutput", refuse)
    with pytest.raises(DeviceError):
        opening.open_bench("hum", PROCEDURES["hum"], lambda step: (), device=None, channel=None, scale=SCALE)
    assert source.closed


def test_a_null_that_was_not_found_teaches_nothing():
    empty = Report(
        procedure="carrier-null", title="Carrier null", complete=False, x_label="", y_label="",
        x_logarithmic=False, figures=(), curves=(), notes=(),
    )  # fmt: skip
    with pytest.raises(MeasureError, match="no scale"):
        opening.null_feed(empty, "feed", None)


def test_the_set_is_keyed_once_and_rests_after_a_minute():
    keying, keyed, quiet = Keying(), Step(prompt="tone", keyed=True), Step(prompt="quiet")
    assert keying.unkey_words(keyed, 0.0) is None
    assert keying.key_words(keyed) == "Key the set"
    keying.since_s = 0.0
    assert keying.key_words(keyed) is None
    assert keying.unkey_words(keyed, LONGEST_KEYED_S) is None
    assert "cool for 61 s" in (keying.unkey_words(keyed, LONGEST_KEYED_S + 1.0) or "")
    assert keying.unkey_words(quiet, 1.0) == "Unkey the set"
    assert keying.key_words(Step(prompt="talk", keyed=True, speak=True)) is None


def test_i_and_q_first_then_the_audio(monkeypatch):
    opened, wire = [], np.zeros((4800, 2), dtype=np.float32)
    wire[:, 0] = 0.5

    class Input:
        name, sample_rate_hz = "fm", 48000

        def blocks(self):
            while True:
                yield Block(samples=np.full(480, 0.25, dtype=np.float32), lost_n=0)
                time.sleep(0.001)
                if "closed" in opened:
                    return

        def close(self):
            opened.append("closed")

    def open_audio(device, channel):
        opened.append(device)
        return Input()

    monkeypatch.setattr(opening, "record_stereo", lambda device, seconds, rate_hz: wire)
    monkeypatch.setattr(opening, "open_input", open_audio)
    asked = []
    bench = opening.open_bench(
        "carrier-null-hand", PROCEDURES["squelch"], lambda step: asked.append(step.feed) or (), device="3",
        channel=None, scale=None, iq=True,
    )  # fmt: skip
    heard = bench.perform(Step(prompt="see", feed="iq", settle_s=0.0, listen_s=0.1))
    assert np.iscomplexobj(heard.samples)
    assert opened == []
    heard = bench.perform(Step(prompt="hear", settle_s=0.0, listen_s=0.1))
    assert heard.samples[0] == 0.25
    assert opened == ["3"]
    bench.halt()
    with pytest.raises(Halted):
        bench.perform(Step(prompt="hear", listen_s=0.1))
    with pytest.raises(Halted):
        bench.perform(Step(prompt="see", feed="iq", listen_s=0.1))
    bench.close()
    assert opened == ["3", "closed"]
    assert asked == ["iq", "audio", "audio", "iq"]
