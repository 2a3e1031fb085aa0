"""Overs found in made-up streams whose carrier edges are known by construction."""

import numpy as np
import pytest
from scipy.signal import butter, ellip, sosfilt

from audiotest.measure.bands import band_frames, plan_bands
from audiotest.session.cells import CELL_HOPS, CELL_S
from audiotest.session.finder import OverFinder

HISS, QUIET, VOICE = 0.3, 0.01, 0.15


def syllables(seconds, rate_hz, rng):
    """Voiced bursts and sibilants with short and long gaps: as restless as speech, and owed to nobody."""
    out = np.zeros(round(seconds * rate_hz))
    at = 0
    while at < len(out):
        n = round(rng.uniform(0.06, 0.35) * rate_hz)
        t = np.arange(n) / rate_hz
        if rng.random() < 0.75:
            pitch = rng.uniform(90, 240)
            part = sum(np.sin(2 * np.pi * pitch * k * t) / k**0.7 for k in range(1, int(3000 / pitch)))
        else:
            n = min(n, round(0.15 * rate_hz))
            part = rng.standard_normal(n)
        part = part * np.hanning(len(part)) * rng.uniform(0.1, 1.0)
        stop = min(at + len(part), len(out))
        out[at:stop] += part[: stop - at] / 3
        at = stop + round(rng.choice([0.02, 0.08, 0.5]) * rate_hz)
    return out


# A receiver made of software ends within some 100 Hz, in the middle of a band that the finder looks at.
SOFTWARE = ellip(9, 0.1, 60.0, [260, 3020], "band", fs=48000, output="sos")


def stream(parts, rate_hz, rng, floor=1e-4, audio_filter=None):
    """Join (kind, seconds) parts, band-limit them as a receiver does, add the sound card's noise."""
    made = []
    for kind, seconds in parts:
        noise = rng.standard_normal(round(seconds * rate_hz))
        if kind in ("voice", "clear voice"):
            quiet = QUIET if kind == "voice" else 0.0
            made.append(quiet * noise + VOICE * syllables(seconds, rate_hz, rng)[: len(noise)])
        else:
            made.append({"hiss": HISS, "quiet": QUIET, "shut": 0.0, "clear": 0.0}[kind] * noise)
    audio = np.concatenate(made)
    if audio_filter is None:
        audio_filter = butter(3, [300, 3300], "band", fs=rate_hz, output="sos")
    return sosfilt(audio_filter, audio) + floor * rng.standard_normal(len(audio))


def find(audio, rate_hz, **options):
    plan = plan_bands(rate_hz)
    frames = band_frames(audio, plan)
    finder = OverFinder(**options)
    found = []
    for k in range(0, len(frames.levels_db) // CELL_HOPS * CELL_HOPS, CELL_HOPS):
        found += finder.push(frames.levels_db[k : k + CELL_HOPS], frames.flatness_db[k : k + CELL_HOPS])
    return found + finder.finish()


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000])
@pytest.mark.parametrize("seed", range(6))
def test_open_squelch(rate_hz, seed):
    rng = np.random.default_rng(seed)
    parts = [("hiss", 1.0), ("quiet", 0.4), ("voice", 7.0), ("quiet", 0.3), ("hiss", 0.8)]
    parts += [("quiet", 0.3), ("voice", 4.0), ("hiss", 1.0)]
    found = find(stream(parts, rate_hz, rng), rate_hz)
    edges = [(f.start_cell * CELL_S, f.end_cell * CELL_S, f.start_edge, f.end_edge) for f in found]
    assert [e[2:] for e in edges] == [("hiss", "hiss")] * 2
    assert np.allclose([e[:2] for e in edges], [(1.0, 8.7), (9.5, 13.8)], atol=0.13)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("shut_s", [0.14, 0.2])
def test_a_recording_that_stops_right_after_the_squelch_closed(seed, shut_s):
    """Without its end the over would take the tail along, which is louder than any speech."""
    rng = np.random.default_rng(seed)
    parts = [("shut", 1.0), ("quiet", 0.4), ("voice", 5.0), ("quiet", 0.2), ("hiss", 0.2), ("shut", shut_s)]
    found = find(stream(parts, 48000, rng), 48000)
    assert [(f.start_edge, f.end_edge) for f in found] == [("closed", "closed")]
    assert found[0].end_cell * CELL_S == pytest.approx(6.8, abs=0.1)


@pytest.mark.parametrize("seed", range(6))
def test_hiss_of_a_receiver_made_of_software(seed):
    rng = np.random.default_rng(seed)
    parts = [("hiss", 1.0), ("quiet", 0.4), ("voice", 7.0), ("quiet", 0.3), ("hiss", 1.0)]
    found = find(stream(parts, 48000, rng, audio_filter=SOFTWARE), 48000)
    assert [(f.start_edge, f.end_edge) for f in found] == [("hiss", "hiss")]
    assert np.allclose([found[0].start_cell * CELL_S, found[0].end_cell * CELL_S], (1.0, 8.7), atol=0.13)


@pytest.mark.parametrize("floor", [0.0, 1e-4])
@pytest.mark.parametrize("seed", range(6))
def test_squelched_feed_with_a_tail(seed, floor):
    rng = np.random.default_rng(seed)
    parts = [("shut", 1.0), ("quiet", 0.4), ("voice", 7.0), ("quiet", 0.2), ("hiss", 0.12), ("shut", 1.2)]
    found = find(stream(parts, 48000, rng, floor), 48000)
    assert len(found) == 1
    assert (found[0].start_edge, found[0].end_edge) == ("closed", "closed")
    assert found[0].start_cell * CELL_S == pytest.approx(1.0, abs=0.13)
    # The tail is inside: it is cut off afterwards.
    assert found[0].end_cell * CELL_S == pytest.approx(8.72, abs=0.13)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("bare_s", [0.0, 0.5])
def test_a_recording_without_edges_is_one_over_despite_its_gaps(seed, bare_s):
    rng = np.random.default_rng(seed)
    parts = [("quiet", bare_s), ("voice", 4.0), ("quiet", 1.5), ("voice", 4.0), ("quiet", 0.6)]
    audio = stream(parts, 48000, rng)
    found = find(audio, 48000)
    assert [(f.start_cell, f.start_edge, f.end_edge) for f in found] == [(0, "none", "none")]


@pytest.mark.parametrize("seed", range(6))
def test_hiss_at_the_end_of_a_recording_that_began_inside_an_over(seed):
    rng = np.random.default_rng(seed)
    found = find(stream([("voice", 5.0), ("quiet", 0.2), ("hiss", 1.0)], 48000, rng), 48000)
    assert [(f.start_cell, f.end_edge) for f in found] == [(0, "hiss")]
    assert found[0].end_cell * CELL_S == pytest.approx(5.2, abs=0.25)


def test_a_bare_carrier_between_hiss_is_an_over():
    rng = np.random.default_rng(0)
    found = find(stream([("hiss", 1.0), ("quiet", 2.0), ("hiss", 1.0)], 48000, rng), 48000)
    assert [(f.start_edge, f.end_edge) for f in found] == [("hiss", "hiss")]


def test_silence_holds_no_over():
    assert find(np.zeros(96000), 48000) == []


def test_a_long_pause_ends_an_over_only_when_asked():
    rng = np.random.default_rng(5)
    audio = stream([("voice", 4.0), ("quiet", 4.0), ("voice", 4.0)], 48000, rng)
    assert len(find(audio, 48000)) == 1
    assert len(find(audio, 48000, pause_ends_over_s=3.0)) == 2


@pytest.mark.parametrize("before_s", [0.0, 2.0])
@pytest.mark.parametrize("hz", [400.0, 1000.0, 2000.0])
def test_a_steady_tone_is_no_pause(hz, before_s):
    """On a feed without edges: it is one over until it stops, and until the pause behind it has shown."""
    rng = np.random.default_rng(1)
    tone = 0.1 * np.sin(2 * np.pi * hz * np.arange(12 * 48000) / 48000)
    audio = np.concatenate([np.zeros(round(before_s * 48000)), tone, np.zeros(6 * 48000)])
    found = find(audio + 1e-3 * rng.standard_normal(len(audio)), 48000, pause_ends_over_s=2.0)
    assert len(found) == 1
    # Where the upper bands show the tone too, the edges are seen.
    assert found[0].start_cell * CELL_S == pytest.approx(before_s if hz > 1600.0 else 0.0, abs=0.13)
    assert before_s + 11.9 <= found[0].end_cell * CELL_S <= before_s + 14.3


@pytest.mark.parametrize("floor", [0.0, 1e-4])
@pytest.mark.parametrize("seed", range(6))
def test_a_receiver_switched_on_late_hisses_before_the_first_over(seed, floor):
    rng = np.random.default_rng(seed)
    parts = [("shut", 2.0), ("hiss", 3.0), ("quiet", 0.4), ("voice", 6.0), ("quiet", 0.2), ("hiss", 1.0)]
    found = find(stream(parts, 48000, rng, floor), 48000)
    assert [(f.start_edge, f.end_edge) for f in found] == [("hiss", "hiss")]
    assert found[0].start_cell * CELL_S == pytest.approx(5.0, abs=0.13)
    assert found[0].end_cell * CELL_S == pytest.approx(11.6, abs=0.13)


@pytest.mark.parametrize("floor", [0.0, 1e-4])
@pytest.mark.parametrize("seed", range(6))
def test_hiss_to_the_end_after_a_receiver_was_switched_on_is_no_over(seed, floor):
    rng = np.random.default_rng(seed)
    assert find(stream([("shut", 2.0), ("hiss", 4.0)], 48000, rng, floor), 48000) == []


@pytest.mark.parametrize("floor", [0.0, 1e-4])
@pytest.mark.parametrize("seed", range(6))
def test_a_long_bare_carrier_behind_a_squelch_belongs_to_its_over(seed, floor):
    rng = np.random.default_rng(seed)
    parts = [("shut", 1.0), ("quiet", 2.0), ("voice", 5.0), ("quiet", 0.5), ("shut", 1.0)]
    parts += [("quiet", 2.0), ("shut", 1.0)]
    found = find(stream(parts, 48000, rng, floor), 48000)
    assert [(f.start_edge, f.end_edge) for f in found] == [("closed", "closed")] * 2
    edges = [(f.start_cell * CELL_S, f.end_cell * CELL_S) for f in found]
    assert np.allclose(edges, [(1.0, 8.5), (9.5, 11.5)], atol=0.13)


@pytest.mark.parametrize("floor", [1e-4, 2e-3])
@pytest.mark.parametrize("seed", range(6))
def test_a_carrier_as_quiet_as_the_receiver_that_was_off_is_told_by_its_pauses(seed, floor):
    rng = np.random.default_rng(seed)
    parts = [("shut", 2.0), ("hiss", 3.0), ("clear", 0.5), ("clear voice", 6.0), ("clear", 0.3)]
    parts += [("hiss", 1.0), ("clear", 0.5), ("clear voice", 4.0), ("hiss", 1.0)]
    found = find(stream(parts, 48000, rng, floor), 48000)
    assert [(f.start_edge, f.end_edge) for f in found] == [("hiss", "hiss")] * 2
    edges = [(f.start_cell * CELL_S, f.end_cell * CELL_S) for f in found]
    assert np.allclose(edges, [(5.0, 11.8), (12.8, 17.3)], atol=0.13)
    # What the receiver hissed before, and not what it was when off, is the sound of no carrier.
    assert found[0].idle_cell * CELL_S == pytest.approx(2.0, abs=0.13)


@pytest.mark.parametrize("gap_s", [2.0, 15.0])
@pytest.mark.parametrize("seed", range(4))
def test_a_bare_carrier_behind_a_squelch_stays_an_over_when_speech_follows(seed, gap_s):
    rng = np.random.default_rng(seed)
    parts = [("shut", 1.0), ("quiet", 2.0), ("shut", gap_s), ("quiet", 0.4), ("voice", 5.0), ("shut", 1.0)]
    found = find(stream(parts, 48000, rng), 48000)
    edges = [(f.start_cell * CELL_S, f.end_cell * CELL_S) for f in found]
    assert [(f.start_edge, f.end_edge) for f in found] == [("closed", "closed")] * 2
    assert np.allclose(edges, [(1.0, 3.0), (3.0 + gap_s, 8.4 + gap_s)], atol=0.13)
