"""``audiotest feed learn-path``: from a recording of overdriven tones to the [path] table of a feed."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from audiotest.__main__ import main
from audiotest.feeds.feedfile import load_feed, save_feed
from audiotest.radio.transmitter import analogue_lowpass, filtered, padded_bins
from audiotest.records import Feed

RATE_HZ = 48000
FEED = Feed(
    name="bench", method="tone", scale_khz_per_fs=6.25, scale_uncertainty_db=0.2, deemphasis_us=750.0,
    tone_hz=1000.0, deviation_khz=1.5, if_bandwidth_khz=None, hiss_dbfs=None, learned="2024-02-29",
)  # fmt: skip


def tones(drive, limiter=lambda x: np.clip(x, -1, 1)):
    """Eight tones limited at 0.3 of full scale, through a 3 kHz Butterworth low-pass of order 4."""
    t = np.arange(round(0.5 * 192000)) / 192000
    sent = np.concatenate(
        [limiter(drive * np.sin(2 * np.pi * hz * t)) for hz in (200, 250, 310, 390, 480, 600, 750, 950)]
    )
    heard = filtered(sent, 192000, analogue_lowpass("butterworth", 4, 3000.0, padded_bins(len(sent), 192000)))
    return 0.3 * heard[::4] + 1e-3 * np.random.default_rng(1).standard_normal(len(heard[::4]))


@pytest.fixture
def bench(tmp_path):
    soundfile.write(tmp_path / "tones.wav", tones(16.0), RATE_HZ)
    save_feed(FEED, tmp_path / "bench.toml")
    return tmp_path


def test_the_path_is_added_to_the_feed(capsys, bench):
    feed = bench / "bench.toml"
    assert main(["feed", "learn-path", str(bench / "tones.wav"), "--feed", str(feed)]) == 0
    shown = capsys.readouterr().out
    assert "8 tones" in shown
    assert max(len(line) for line in shown.splitlines() if str(feed) not in line) <= 80
    assert replace(load_feed(feed), path=None) == FEED
    path = load_feed(feed).path
    # Butterworth of order 4 with its corner at 3 kHz: -3.0 dB there, nothing at 1 kHz.
    assert path.gain_db[path.hz.index(3000.0)] == pytest.approx(-3.0, abs=0.3)
    assert path.drive_db == pytest.approx(24.0, abs=3.0)


@pytest.mark.parametrize(
    ("stated_us", "doubted"), [(750.0, True), (530.0, True), (0.0, False), (None, False)]
)
def test_a_path_that_contradicts_the_feeds_deemphasis_is_doubted(capsys, bench, stated_us, doubted):
    """The tones came over a flat feed: they belong to no de-emphasised one."""
    feed = bench / "bench.toml"
    save_feed(replace(FEED, deemphasis_us=stated_us), feed)
    assert main(["feed", "learn-path", str(bench / "tones.wav"), "--feed", str(feed)]) == 0
    said = capsys.readouterr().err
    assert ("another input or receiver" in said) == doubted
    assert said.count("\n") == doubted
    assert load_feed(feed).path is not None


def test_the_ceiling_is_told_always_and_kept_when_the_controls_stay(capsys, bench):
    feed = bench / "bench.toml"
    request = ["feed", "learn-path", str(bench / "tones.wav"), "--feed", str(feed)]
    assert main(request) == 0
    # Clipped at 0.3 of full scale, 6.25 kHz each.
    khz = re.search(r"The limiter holds (.*) kHz, ±0.2 dB by the scale \(not", capsys.readouterr().out)
    assert khz is not None
    assert float(khz[1]) == pytest.approx(0.3 * 6.25, rel=0.02)
    assert load_feed(feed).path.ceiling_fs is None
    assert main([*request, "--keep-ceiling"]) == 0
    said = capsys.readouterr().out
    assert f"The limiter holds {khz[1]} kHz, ±0.2 dB by the scale (kept)." in said
    assert "neither the volume nor the deviation control is turned" in " ".join(said.split())
    assert load_feed(feed).path.ceiling_fs == pytest.approx(0.3, rel=0.01)
    # Learnt again without the option, the ceiling is gone, and that is said.
    assert main(request) == 0
    assert "The ceiling kept before is no longer in it." in capsys.readouterr().out
    assert load_feed(feed).path.ceiling_fs is None


def test_a_ceiling_where_no_set_holds_is_not_kept(capsys, bench):
    soundfile.write(bench / "quiet.wav", 0.02 * tones(16.0), RATE_HZ, subtype="PCM_24")
    feed = bench / "bench.toml"
    request = ["feed", "learn-path", str(bench / "quiet.wav"), "--feed", str(feed), "--keep-ceiling"]
    assert main(request) == 0
    said = capsys.readouterr()
    assert "kHz, ±0.2 dB by the scale (not kept)." in said.out
    assert said.err.count("no set holds there") == 1
    assert load_feed(feed).path.ceiling_fs is None


def test_diodes_have_no_ceiling_to_keep(capsys, bench):
    diodes = lambda x: np.sign(x) * np.minimum(np.abs(x), 0.6 + 0.2 * np.log1p(5.0 * np.abs(x)))  # noqa: E731
    soundfile.write(bench / "diodes.wav", tones(16.0, diodes), RATE_HZ)
    feed = bench / "bench.toml"
    request = ["feed", "learn-path", str(bench / "diodes.wav"), "--feed", str(feed), "--keep-ceiling"]
    assert main(request) == 0
    said = capsys.readouterr()
    assert said.err.count("has no ceiling to keep") == 1
    assert "holds" not in said.out.replace("It holds", "")
    assert load_feed(feed).path.ceiling_fs is None


def test_another_output_leaves_the_feed_as_it_was(capsys, bench):
    feed, other = bench / "bench.toml", bench / "other.toml"
    before = feed.read_bytes()
    request = ["feed", "learn-path", str(bench / "tones.wav"), "--feed", str(feed), "-o", str(other)]
    assert main(request) == 0
    assert feed.read_bytes() == before
    assert load_feed(other).path is not None
    capsys.readouterr()
    assert main(["check", "--json", str(bench / "tones.wav"), "--feed", str(other)]) == 0
    told = json.loads(capsys.readouterr().out)["feed"]
    assert told["path_learnt"] is True
    assert "path" not in told


def test_learning_the_scale_again_says_that_the_path_goes(capsys, bench):
    feed = bench / "bench.toml"
    assert main(["feed", "learn-path", str(bench / "tones.wav"), "--feed", str(feed)]) == 0
    n = np.arange(48000 * 3)
    soundfile.write(bench / "tone.wav", 0.2 * np.sin(2 * np.pi * 1000 * n / 48000), 48000)
    capsys.readouterr()
    request = ["feed", "learn", str(bench / "tone.wav"), "--tone-hz", "1000", "--deviation-khz", "1.5"]
    assert main([*request, "--deemphasis-us", "0", "-o", str(feed)]) == 0
    assert "learn the path again" in capsys.readouterr().err
    assert load_feed(feed).path is None


def test_what_teaches_nothing_is_refused_in_one_line_and_nothing_written(capsys, bench):
    soundfile.write(bench / "weak.wav", tones(0.9), RATE_HZ)
    feed = bench / "bench.toml"
    before = feed.read_bytes()
    assert main(["feed", "learn-path", str(bench / "weak.wav"), "--feed", str(feed)]) == 2
    errors = capsys.readouterr().err
    assert "weak.wav" in errors
    assert "no harmonics" in errors
    assert errors.count("\n") == 1
    assert feed.read_bytes() == before
    assert main(["feed", "learn-path", str(bench / "tones.wav"), "--feed", str(bench / "none.toml")]) == 2
    assert capsys.readouterr().err.count("\n") == 1
