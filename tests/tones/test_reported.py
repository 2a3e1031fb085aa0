"""A report in words and as a document."""

import json
import re

import pytest

from audiotest.standards.limits import get_limits
from audiotest.tones.catalogue import PROCEDURES, Given
from audiotest.tones.guided import carry_out
from audiotest.tones.rehearsal import MONITOR_FEED, Rehearsal
from audiotest.tones.reported import (
    bench_document,
    curves_on_axes,
    limit_words,
    point_words,
    value_words,
    verdict_words,
)
from audiotest.tones.steps import Curve, Figure, Notebook, Point, Report

NOISY = -10.899999999999999


def report(*figures: Figure, curves: tuple[Curve, ...] = ()) -> Report:
    return Report(
        procedure="hum", title="Invented", complete=True, x_label="x", y_label="y", x_logarithmic=False,
        figures=figures, curves=curves, notes=(),
    )  # fmt: skip


def test_the_document_carries_no_float_noise():
    noisy = Figure(key="a", label="a", value=NOISY, unit="dB", low=0.1 + 0.2, limit_high=1.1 * 1.1)
    found = bench_document(
        report(noisy, curves=(Curve(name="c", points=((1e3 * 1.001, NOISY),)),)), rehearsed=True
    )
    assert found["figures"][0]["value"] == -10.9
    assert found["figures"][0]["low"] == 0.3
    assert found["figures"][0]["limit_high"] == 1.21
    assert found["curves"][0]["points"] == [[1001.0, -10.9]]
    assert "99999" not in json.dumps(found)


def test_a_real_document_has_four_decimals_at_most():
    done = carry_out(
        PROCEDURES["squelch"].make(Given(feed=MONITOR_FEED, limits=get_limits("uk-27fm"))), Rehearsal()
    )
    text = json.dumps(bench_document(done, rehearsed=True))
    assert done.complete
    assert re.findall(r"\d\.\d+", text)
    assert not re.findall(r"\d\.\d{5,}", text)


@pytest.mark.parametrize(
    ("figure", "words"),
    [
        (
            Figure(key="a", label="a", value=None, unit="dB", limit_high=1.0),
            ("unknown", "most 1.0", "not judged"),
        ),
        (Figure(key="a", label="a", value=2.0, unit="dB", limit_high=1.0), ("2.0 dB", "most 1.0", "FAIL")),
        (
            Figure(key="a", label="a", value=2.0, unit="dB", limit_low=1.0, reference=True),
            ("2.0 dB", "ref. least 1.0", "inside"),
        ),
        (
            Figure(key="a", label="a", value=2.0, unit="", limit_low=0.0, limit_high=3.0),
            ("2.00", "0 to 3.00", "pass"),
        ),
        (Figure(key="a", label="a", value=2.0, unit="dB"), ("2.0 dB", "", "")),
    ],
)
def test_a_figure_in_words(figure, words):
    assert (value_words(figure), limit_words(figure), verdict_words(figure)) == words


def test_curves_of_another_unit_stay_off_the_axes():
    points = ((1.0, 2.0), (2.0, 3.0))
    both = report(curves=(Curve(name="response", points=points), Curve(name="deviation, kHz", points=points)))
    assert [curve.name for curve in curves_on_axes(both)] == ["response"]
    alone = report(curves=(Curve(name="deviation, kHz", points=points),))
    assert [curve.name for curve in curves_on_axes(alone)] == ["deviation, kHz"]


@pytest.mark.parametrize(
    ("point", "labels", "words"),
    [
        (
            Point(curve="SINAD, O.41", x=-110.0, y=14.2),
            ("generator, dBm", "dB"),
            ("14.2 dB", "SINAD, O.41, at -110.0 dBm"),
        ),
        (
            Point(curve="peak over tone, Hz", x=400.0, y=2.2),
            ("input, mV RMS", "peak deviation, kHz"),
            ("2.20 kHz", "peak over tone, at 400.0 Hz"),
        ),
        (
            Point(curve="drive, dB", x=3.0, y=6.5),
            ("over", "drive, dB; peak, kHz"),
            ("6.5 dB", "drive, at over 3"),
        ),
        (
            Point(curve="up and down", x=-120.0, y=1.0),
            ("generator, dBm", "open"),
            ("open", "up and down, at -120.0 dBm"),
        ),
        (
            Point(curve="carrier", x=2.0, y=0.1),
            ("input, mV RMS", "carrier re unmodulated"),
            ("0.100", "carrier, at 2.00 mV RMS"),
        ),
    ],
)
def test_a_point_is_read_out_with_its_units(point, labels, words):
    assert point_words(point, *labels) == words


def test_the_newest_point_is_the_one_measured_last():
    book = Notebook(procedure="p", title="P")
    book.plot("response", 300.0, -9.0)
    book.plot("mask low", 300.0, -12.0, read=False)
    assert book.latest == Point(curve="response", x=300.0, y=-9.0)
