"""The readable card: advice first, 80 columns, no colour codes when piped."""

from dataclasses import replace

import pytest

from audiotest.advise.rules import advise
from audiotest.records import EndBeep, InputReading, LiveReading, Subaudible
from audiotest.terminal.card import make_console, print_file, print_over
from audiotest.terminal.figures import live_text


def printed(capsys, over, limits) -> str:
    print_over(make_console(), 1, over, advise(over, limits), limits)
    return str(capsys.readouterr().out)


def test_advice_comes_before_the_figures(capsys, voice_over, limits):
    text = printed(capsys, voice_over, limits)
    assert text.index("Mic gain down") < text.index("lower 8 dB") < text.index("2.31 kHz")


def test_piped_it_has_no_codes_and_fits_80_columns(capsys, voice_over, tone_over, limits):
    full = replace(
        voice_over,
        subaudible=Subaudible(frequency_hz=88.5, deviation_khz=0.3),
        end_beep=EndBeep(frequency_hz=1000.0, start_s=8.0, end_s=8.3),
        conditions=("levelling",),
    )
    text = printed(capsys, full, limits) + printed(capsys, tone_over, limits)
    assert "\x1b" not in text
    assert max(len(line) for line in text.splitlines()) <= 80
    assert not any(line != line.rstrip() for line in text.splitlines())
    for expected in ("88.5 Hz", "deviation 300 Hz", "1000 Hz for 300 ms", "SINAD", "24.5 dB", "levels"):
        assert expected in text


def test_the_evidence_stands_under_the_controls_and_only_there(capsys, voice_over, limits):
    text = printed(capsys, replace(voice_over, conditions=("levelling",)), limits)
    panel, rest = text.split("┗")
    assert panel.index("lower 8 dB") < panel.index("because limiter drive +13.1 dB (+10 to +16 dB)")
    assert "peak deviation 2.31 kHz, 92 % of the ±2.5 kHz of uk-27fm" in panel
    assert "something levels the audio" in panel
    for said in ("drive +13.1", "2.31 kHz, 92 %", "levels the audio"):
        assert said not in rest
    assert text.count("clips 24 % of the speech") == 1
    assert sum(line.startswith("┃ ") for line in panel.splitlines()) <= 9
    assert all(len(line) <= 80 for line in text.splitlines())


def test_without_an_instruction_there_is_no_evidence_for_one(capsys, voice_over, limits):
    text = printed(capsys, replace(voice_over, conditions=("overload",)), limits)
    assert "because" not in text
    assert "drive +13.1 dB" in text.split("┗")[1]
    assert "peak 2.31 kHz" in text.split("┗")[1]


def test_a_carrier_without_speech_says_so_once(capsys, voice_over, limits):
    over = replace(voice_over, kind="carrier", conditions=("not_voice",))
    text = printed(capsys, over, limits)
    assert text.count("no speech heard") == 1
    assert text.count("talk") == 1


def test_an_unknown_figure_is_called_unknown_with_its_reason(capsys, unscaled_over, limits):
    text = printed(capsys, unscaled_over, limits)
    assert "unknown: no feed scale" in text


@pytest.mark.parametrize(
    ("hum_hz", "hum_db", "shown"), [(50.0, 12.0, True), (100.0, 39.0, True), (50.0, 60.0, False),
                                    (50.0, None, False), (None, None, False)],
)  # fmt: skip
def test_hum_is_on_the_card_only_where_it_matters(capsys, voice_over, limits, hum_hz, hum_db, shown):
    noise = replace(voice_over.noise, hum_hz=hum_hz, hum_db=hum_db)
    text = printed(capsys, replace(voice_over, noise=noise), limits)
    assert ("hum" in text) == shown


def test_a_hum_on_a_bare_carrier_is_named(capsys, voice_over, limits):
    carrier = replace(voice_over, kind="carrier", noise=replace(voice_over.noise, hum_hz=50.0, hum_db=None))
    text = printed(capsys, carrier, limits)
    assert "hum 50 Hz, with nothing to hold it against" in " ".join(text.split())


def test_the_heading_names_the_file_and_the_input(capsys):
    reading = InputReading(
        peak_dbfs=0.0, rms_dbfs=-9.0, dc_percent_fs=0.0, overload_runs=7, verdict="overloaded"
    )
    print_file(make_console(), "odd [bold]name.wav", 48000, 61.26, reading)
    text = capsys.readouterr().out
    assert "odd [bold]name.wav" in text
    assert "1:01.3, 48 kHz" in text
    assert "OVERLOADED" in text
    assert "7 times" in text


@pytest.mark.parametrize("deviation_khz", [None, 2.31])
@pytest.mark.parametrize("sinad_db", [None, 24.0])
@pytest.mark.parametrize("overloaded", [False, True])
def test_the_live_line_fits_80_columns(limits, deviation_khz, sinad_db, overloaded):
    reading = LiveReading(
        time_s=754.0,
        state="speech",
        level_dbfs=-118.2,
        peak_dbfs=-3.0,
        deviation_khz=deviation_khz,
        quieting_db=31.0,
        sinad_db=sinad_db,
        overloaded=overloaded,
        over_s=304.0,
        lost_n=5,
    )
    text = live_text(reading, limits)
    assert len(text) < 80
    assert ("deviation —" in text) == (deviation_khz is None)
    assert ("OVERLOAD" in text) == overloaded
