"""``audiotest bench`` from the command line: every procedure rehearsed on the simulated radio."""

import json

import pytest

from audiotest.__main__ import main
from audiotest.errors import FileError
from audiotest.feeds.scale import load_feed
from audiotest.terminal import bench as bench_command
from audiotest.terminal.benchoptions import PROCEDURES as NAMED
from audiotest.tones.byhand import NULL_BY_HAND
from audiotest.tones.catalogue import PROCEDURES
from audiotest.tones.rehearsal import DEMO_SET, SCALE_KHZ_PER_FS, Rehearsal
from tests.terminal.printed import document

QUICK = ("distortion", "hum", "two-tone", "frequency", "frequency-iq", "rx-distortion", "rx-hum", "squelch")


def test_the_list_in_the_help_is_the_catalogue():
    assert set(NAMED) == set(PROCEDURES) | {NULL_BY_HAND}


@pytest.mark.parametrize("procedure", QUICK)
def test_every_procedure_rehearses(procedure, capsys):
    assert main(["bench", procedure, "--rehearse", "--json"]) == 0
    found = document(capsys)
    assert found["schema"] == "audiotest-bench-1"
    assert found["rehearsed"] is True
    assert found["complete"] is True
    assert all(
        figure["value"] is not None for figure in found["figures"] if not figure["key"].endswith("order_db")
    )


def test_a_rehearsal_says_once_what_each_step_would_have_one_do(capsys):
    assert main(["bench", "squelch", "--rehearse", "--json"]) == 0
    shown = capsys.readouterr()
    assert json.loads(shown.out)["complete"]
    assert [line.strip() for line in shown.err.splitlines()] == [
        "set the squelch as it is used",
        "set the generator's level: -130 dBm",
        "The squelch has to be shut now.",
        "Level by level.",
    ]


def test_a_rehearsal_of_the_balance_draws_drive_and_peak(capsys):
    assert main(["bench", "balance", "--rehearse"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("  Over 1: key up")
    assert " o drive   dB" in lines
    assert " o peak   kHz" in lines
    assert sum(line[9:11].strip() == "|" for line in lines) == 12


def test_a_rehearsal_reads_on_80_columns(capsys):
    assert main(["bench", "response", "--rehearse"]) == 0
    out = capsys.readouterr().out
    assert "complete, rehearsed on the simulated radio" in out
    assert "least margin" in out
    assert max(len(line) for line in out.splitlines()) <= 80


def test_frequency_has_ppm_and_a_verdict(capsys):
    argv = ["bench", "frequency", "--rehearse", "--json", "--nominal-mhz", "27.6", "--tolerance-hz", "100"]
    assert main(argv) == 0
    figures = {figure["key"]: figure for figure in document(capsys)["figures"]}
    assert figures["frequency_error_hz"]["value"] == pytest.approx(DEMO_SET.offset_hz, abs=0.5)
    assert figures["frequency_error_hz"]["passed"] is False
    assert figures["frequency_error_ppm"]["value"] == pytest.approx(DEMO_SET.offset_hz / 27.6, abs=0.05)


def test_without_a_tolerance_no_limit_is_named(capsys):
    assert main(["bench", "frequency", "--rehearse"]) == 0
    assert "limit" not in capsys.readouterr().out


@pytest.mark.parametrize("more", [[], ["--iq"], ["--wanted-khz", "1.2"]])
def test_the_carrier_null_by_hand_is_caught_and_gives_a_feed(more, tmp_path, capsys):
    path = tmp_path / "null.toml"
    argv = [
        "bench",
        NULL_BY_HAND,
        "--rehearse",
        "--json",
        "--deemphasis-us",
        "0",
        "--feed-out",
        str(path),
        *more,
    ]
    assert main(argv) == 0
    found = document(capsys)
    figures = {figure["key"]: figure["value"] for figure in found["figures"]}
    wanted_khz = 1.2 if "--wanted-khz" in more else 1.5
    assert found["complete"]
    assert figures["tone_hz"] == pytest.approx(1e3 * wanted_khz / 2.404826, abs=0.01)
    # Caught at 30 dB down or more the deviation is within 2.5 % of the one sought.
    assert figures["scale_khz_per_fs"] == pytest.approx(SCALE_KHZ_PER_FS, rel=0.025)
    assert load_feed(path).scale_khz_per_fs == pytest.approx(SCALE_KHZ_PER_FS, rel=0.025)
    assert {curve["name"] for curve in found["curves"]} == {"carrier", "first sidebands", "|J0|", "|J1|"}


def test_an_interruption_prints_what_was_measured_and_exits_130(capsys, monkeypatch):
    def stop(step):
        stop.left -= 1
        if stop.left == 0:
            raise KeyboardInterrupt

    stop.left = 8
    monkeypatch.setattr(bench_command, "rehearsal_for", lambda name, given: Rehearsal(on_step=stop))
    assert main(["bench", "rx-response", "--rehearse", "--json"]) == 130
    found = document(capsys)
    assert found["complete"] is False
    assert len(found["curves"][0]["points"]) == 7
    assert any("stopped early" in note for note in found["notes"])


def test_a_carrier_null_teaches_a_feed(tmp_path, capsys):
    path = tmp_path / "null.toml"
    argv = ["bench", "carrier-null", "--rehearse", "--json", "--deemphasis-us", "0", "--feed-out", str(path)]
    assert main(argv) == 0
    assert document(capsys)["complete"] is True
    feed = load_feed(path)
    assert feed.method == "carrier-null"
    assert feed.scale_khz_per_fs == pytest.approx(8.0, rel=0.02)
    assert main(["bench", "squelch", "--rehearse", "--feed-out", str(path)]) == 2


def test_a_feed_that_cannot_be_written_does_not_take_the_report_along(tmp_path, capsys, monkeypatch):
    place = tmp_path / "null.toml"

    def full(feed, path):
        raise FileError(f"{path}: cannot be written: No space left on device", "name another place")

    monkeypatch.setattr(bench_command, "save_feed", full)
    call = ["bench", "carrier-null", "--rehearse", "--deemphasis-us", "0", "--feed-out", str(place)]
    assert main(call) == 2
    said = capsys.readouterr()
    assert "Carrier null: complete" in said.out
    assert "null.toml: cannot be written" in said.err
